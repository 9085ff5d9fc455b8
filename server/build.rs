//! Packs the data that ship with the server: text of one and a half megabytes, of which a fifth is left. Makes LLVM's
//! linker merge identical functions in the release binary (`--icf=all`).

use std::{env, error::Error, fs, io::Write as _, path::Path};

use flate2::{Compression, write::GzEncoder};

fn merge_identical_functions() {
    let is = |name: &str, value: &str| env::var(name).as_deref() == Ok(value);
    let own_linker = env::var("RUSTC_LINKER").is_ok()
        || env::var("CARGO_ENCODED_RUSTFLAGS").is_ok_and(|flags| flags.contains("link"));
    // On this target rustc links with LLVM's linker by default.
    if is("TARGET", "x86_64-unknown-linux-gnu") && is("PROFILE", "release") && !own_linker {
        println!("cargo:rustc-link-arg-bins=-Wl,--icf=all");
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=build.rs");
    merge_identical_functions();
    let root = Path::new(&env::var("CARGO_MANIFEST_DIR")?).join("data");
    let mut files = Vec::new();
    for folder in ["catalogue", "crops", "movement"] {
        println!("cargo:rerun-if-changed=data/{folder}");
        for entry in fs::read_dir(root.join(folder))? {
            let entry = entry?;
            let name = format!("{folder}/{}", entry.file_name().to_string_lossy());
            files.push((name, fs::read_to_string(entry.path())?));
        }
    }
    files.sort();
    let packed = Path::new(&env::var("OUT_DIR")?).join("data.gz");
    let mut out = GzEncoder::new(fs::File::create(packed)?, Compression::best());
    for (name, text) in files {
        // A line with the name and the length, then the text.
        write!(out, "{name} {}\n{text}", text.len())?;
    }
    out.finish()?;
    Ok(())
}
