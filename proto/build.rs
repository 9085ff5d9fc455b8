//! Compiles the protos without protoc, keeps the descriptors for reflection and JSON, and writes
//! `enum Rpc`: every method there is, so that the server's policy can be one exhaustive match.
use std::{env, error::Error, fmt::Write as _, fs, path::PathBuf};

use prost::Message as _;

/// Methods of the standard services that the server also answers. A server test compares this list
/// with the descriptors of tonic-health and tonic-reflection.
const STANDARD: [(&str, &str); 5] = [
    ("grpc.health.v1.Health", "Check"),
    ("grpc.health.v1.Health", "List"),
    ("grpc.health.v1.Health", "Watch"),
    ("grpc.reflection.v1.ServerReflection", "ServerReflectionInfo"),
    ("grpc.reflection.v1alpha.ServerReflection", "ServerReflectionInfo"),
];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=scionary");
    println!("cargo:rerun-if-changed=build.rs");
    let out = PathBuf::from(env::var("OUT_DIR")?);
    let files = [
        "common", "server", "account", "crop", "cultivar", "offer", "evidence", "curation", "export",
        "movement", "claim", "plan", "lot", "notice", "club", "want", "round",
    ]
    .map(|name| format!("scionary/v1/{name}.proto"));
    let set = protox::Compiler::new(["."])?
        .include_imports(true)
        .include_source_info(true)
        .open_files(files)?
        .file_descriptor_set();

    let mut slim = set.clone();
    for file in &mut slim.file {
        file.source_code_info = None;
    }
    fs::write(out.join("descriptors.bin"), slim.encode_to_vec())?;
    fs::write(out.join("rpc.rs"), rpc_enum(&set)?)?;

    tonic_prost_build::configure()
        .build_transport(false)
        .skip_debug([
            "scionary.v1.SignUpRequest",
            "scionary.v1.SignInRequest",
            "scionary.v1.SignInResponse",
            "scionary.v1.ChangePasswordRequest",
            "scionary.v1.CreateInvitationResponse",
        ])
        .compile_fds(set)?;
    Ok(())
}

fn rpc_enum(set: &prost_types::FileDescriptorSet) -> Result<String, Box<dyn Error>> {
    let mut rows: Vec<(String, String)> = Vec::new();
    for file in set.file.iter().filter(|f| f.package() == "scionary.v1") {
        for service in &file.service {
            for method in &service.method {
                let noun = service.name().trim_end_matches("Service");
                rows.push((
                    format!("{noun}{}", method.name()),
                    format!("/{}.{}/{}", file.package(), service.name(), method.name()),
                ));
            }
        }
    }
    for (service, method) in STANDARD {
        let variant: String = service
            .split('.')
            .skip(1)
            .map(|part| part[..1].to_uppercase() + &part[1..])
            .chain([method.to_string()])
            .collect();
        rows.push((variant, format!("/{service}/{method}")));
    }
    let mut text = String::from(
        "/// Every method the server answers.\n#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]\npub enum Rpc {\n",
    );
    for (variant, path) in &rows {
        writeln!(text, "    /// `{path}`\n    {variant},")?;
    }
    writeln!(
        text,
        "}}\nimpl Rpc {{\n    /// All of them, in the order of the files.\n    pub const ALL: [Rpc; {}] = [",
        rows.len()
    )?;
    for (variant, _) in &rows {
        writeln!(text, "        Rpc::{variant},")?;
    }
    text.push_str("    ];\n    /// The HTTP path, such as `/scionary.v1.OfferService/GetOffer`.\n    pub const fn path(self) -> &'static str {\n        match self {\n");
    for (variant, path) in &rows {
        writeln!(text, "            Rpc::{variant} => \"{path}\",")?;
    }
    text.push_str("        }\n    }\n    /// The method at an HTTP path.\n    pub fn from_path(path: &str) -> Option<Rpc> {\n        match path {\n");
    for (variant, path) in &rows {
        writeln!(text, "            \"{path}\" => Some(Rpc::{variant}),")?;
    }
    text.push_str("            _ => None,\n        }\n    }\n}\n");
    Ok(text)
}
