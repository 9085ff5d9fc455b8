//! Compiles the protos without protoc, keeps the descriptors for reflection and JSON, and writes `rpc.rs`: every
//! method there is as `enum Rpc`, with its facts, and for each request the method that it asks for.
use std::{collections::BTreeMap, env, error::Error, fmt::Write as _, fs, path::PathBuf};

use prost_reflect::{DescriptorPool, FieldDescriptor, MessageDescriptor, MethodDescriptor, Value};

/// The files, in the order in which their methods are listed.
const FILES: [&str; 20] = [
    "common", "server", "account", "crop", "cultivar", "offer", "evidence", "curation", "export", "movement",
    "claim", "plan", "profile", "graft", "lot", "alert", "notice", "club", "want", "round",
];

/// Methods of the standard services that the server also answers, and whether each is a stream. A server test
/// compares this list with the descriptors of tonic-health and tonic-reflection.
const STANDARD: [(&str, &str, &str); 5] = [
    ("grpc.health.v1.Health", "Check", "Unary"),
    ("grpc.health.v1.Health", "List", "Unary"),
    ("grpc.health.v1.Health", "Watch", "Replies"),
    ("grpc.reflection.v1.ServerReflection", "ServerReflectionInfo", "Both"),
    ("grpc.reflection.v1alpha.ServerReflection", "ServerReflectionInfo", "Both"),
];

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=scionary");
    println!("cargo:rerun-if-changed=build.rs");
    let out = PathBuf::from(env::var("OUT_DIR")?);
    let files = FILES.map(|name| format!("scionary/v1/{name}.proto"));
    let compile = |source_info: bool| {
        let mut compiler = protox::Compiler::new(["."])?;
        compiler.include_imports(true).include_source_info(source_info).open_files(&files)?;
        Ok::<_, protox::Error>(compiler)
    };
    // as bytes: the typed messages would lose options that they do not know, such as debug_redact
    let bare = compile(false)?.encode_file_descriptor_set();
    let pool = DescriptorPool::decode(bare.as_slice())?;
    fs::write(out.join("descriptors.bin"), &bare)?;
    let methods: Vec<Row> = rows(&pool)?;
    fs::write(out.join("rpc.rs"), rpc_file(&methods)?)?;

    let mut config = prost_build::Config::new();
    // secrets are not to be printed, so these messages have no `Debug` of prost's making
    config.skip_debug(
        pool.all_messages().filter(|m| secrets(m).next().is_some()).map(|m| m.full_name().to_owned()),
    );
    // each message knows its full name: a reply is written as JSON by it
    config.enable_type_names();
    config.compile_fds(compile(true)?.file_descriptor_set())?;
    Ok(())
}

/// What is written of a method.
struct Row {
    variant: String,
    service: String,
    name: String,
    kind: &'static str,
    effect: &'static str,
    /// Request, reply, and the request's secret fields; none for a method of a standard service.
    messages: Option<(String, String, Vec<String>)>,
}

fn rows(pool: &DescriptorPool) -> Result<Vec<Row>, Box<dyn Error>> {
    let mut rows = Vec::new();
    let mut requests = BTreeMap::new();
    let file = |name: &str| pool.get_file_by_name(&format!("scionary/v1/{name}.proto"));
    let services = FILES.into_iter().filter_map(file).flat_map(|file| file.services().collect::<Vec<_>>());
    for service in services {
        for method in service.methods() {
            let noun = service.name().trim_end_matches("Service");
            if let Some(other) =
                requests.insert(method.input().name().to_owned(), method.full_name().to_owned())
            {
                return Err(format!(
                    "{other} and {} share the request {}",
                    method.full_name(),
                    method.input().name()
                )
                .into());
            }
            let secret = secrets(&method.input()).map(|f| f.name().to_owned()).collect();
            rows.push(Row {
                variant: format!("{noun}{}", method.name()),
                service: service.full_name().to_owned(),
                name: method.name().to_owned(),
                kind: match (method.is_client_streaming(), method.is_server_streaming()) {
                    (false, false) => "Unary",
                    (false, true) => "Replies",
                    (true, true) => "Both",
                    (true, false) => {
                        return Err(format!(
                            "{}: requests one by one, with one reply, are not served",
                            method.full_name()
                        )
                        .into());
                    }
                },
                effect: effect(&method)?,
                messages: Some((method.input().name().to_owned(), method.output().name().to_owned(), secret)),
            });
        }
    }
    for (service, method, kind) in STANDARD {
        let part = |part: &str| part[..1].to_uppercase() + &part[1..];
        rows.push(Row {
            variant: service.split('.').skip(1).map(part).chain([method.to_owned()]).collect(),
            service: service.to_owned(),
            name: method.to_owned(),
            kind,
            effect: "Reads",
            messages: None,
        });
    }
    Ok(rows)
}

/// The fields that are marked `debug_redact`. Only text can be: it is emptied where the rest is kept.
fn secrets(message: &MessageDescriptor) -> impl Iterator<Item = FieldDescriptor> {
    let marked = |field: &FieldDescriptor| match field.options().get_field_by_name("debug_redact").as_deref()
    {
        Some(Value::Bool(marked)) => *marked,
        _ => false,
    };
    message.fields().filter(marked).collect::<Vec<_>>().into_iter()
}

fn effect(method: &MethodDescriptor) -> Result<&'static str, Box<dyn Error>> {
    match method.options().get_field_by_name("idempotency_level").as_deref() {
        None | Some(Value::EnumNumber(0)) => Ok("Writes"),
        Some(Value::EnumNumber(1)) => Ok("Reads"),
        Some(Value::EnumNumber(2)) => Ok("WritesOnce"),
        Some(other) => {
            Err(format!("{}: idempotency_level {other:?} is not known", method.full_name()).into())
        }
    }
}

fn rpc_file(rows: &[Row]) -> Result<String, Box<dyn Error>> {
    let mut text = String::from(
        "/// Every method the server answers.\n#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]\npub enum Rpc {\n",
    );
    for row in rows {
        writeln!(text, "    /// `/{}/{}`\n    {},", row.service, row.name, row.variant)?;
    }
    writeln!(
        text,
        "}}\nimpl Rpc {{\n    /// All of them, in the order of the files.\n    pub const ALL: [Rpc; {}] = [",
        rows.len()
    )?;
    for row in rows {
        writeln!(text, "        Rpc::{},", row.variant)?;
    }
    writeln!(
        text,
        "    ];\n    /// The services that this project defines.\n    pub const SERVICES: &[&str] = &["
    )?;
    let mut last = "";
    for row in rows.iter().filter(|row| row.messages.is_some()) {
        if row.service != last {
            writeln!(text, "        \"{}\",", row.service)?;
        }
        last = &row.service;
    }
    writeln!(
        text,
        "    ];\n    /// The method at an HTTP path.\n    pub fn from_path(path: &str) -> Option<Rpc> {{\n        match path {{"
    )?;
    for row in rows {
        writeln!(text, "            \"/{}/{}\" => Some(Rpc::{}),", row.service, row.name, row.variant)?;
    }
    writeln!(
        text,
        "            _ => None,\n        }}\n    }}\n}}\nstatic FACTS: [Facts; {}] = [",
        rows.len()
    )?;
    for Row { service, name, kind, effect, .. } in rows {
        writeln!(
            text,
            "    Facts {{ path: \"/{service}/{name}\", service: \"{service}\", name: \"{name}\", kind: Kind::{kind}, effect: Effect::{effect} }},"
        )?;
    }
    text.push_str("];\n");
    for row in rows {
        let Some((request, reply, secrets)) = &row.messages else { continue };
        let (variant, kind) = (&row.variant, row.kind);
        writeln!(
            text,
            "impl Method for crate::v1::{request} {{\n    type Reply = crate::v1::{reply};\n    const RPC: Rpc = Rpc::{variant};"
        )?;
        if !secrets.is_empty() {
            writeln!(text, "    fn without_secrets(&self) -> Self {{\n        let mut bare = self.clone();")?;
            for secret in secrets {
                writeln!(text, "        bare.{secret}.clear();")?;
            }
            writeln!(text, "        bare\n    }}")?;
        }
        writeln!(text, "}}\nimpl {kind} for crate::v1::{request} {{}}")?;
    }
    Ok(text)
}
