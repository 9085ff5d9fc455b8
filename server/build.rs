//! Packs the data that ship with the server: text of one and a half megabytes, of which a third is left.

use std::{env, fs, io::Write as _, path::Path};

use flate2::{Compression, write::GzEncoder};

fn main() {
    let root = Path::new(&env::var("CARGO_MANIFEST_DIR").expect("cargo sets it")).join("data");
    let mut files = Vec::new();
    for folder in ["catalogue", "crops", "movement"] {
        println!("cargo:rerun-if-changed=data/{folder}");
        for entry in fs::read_dir(root.join(folder)).expect("the folder is there") {
            let path = entry.expect("it can be read").path();
            let name = format!("{folder}/{}", path.file_name().expect("a file").to_string_lossy());
            files.push((name, fs::read_to_string(&path).expect("it is text")));
        }
    }
    files.sort();
    let packed = Path::new(&env::var("OUT_DIR").expect("cargo sets it")).join("data.gz");
    let mut out = GzEncoder::new(fs::File::create(packed).expect("it can be written"), Compression::best());
    for (name, text) in files {
        // A line with the name and the length, then the text.
        write!(out, "{name} {}\n{text}", text.len()).expect("it can be written");
    }
    out.finish().expect("it can be written");
}
