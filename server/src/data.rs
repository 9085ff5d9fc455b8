//! The data that ships with the server, and folders that a club adds.

use std::{fs, io, path::Path};

use scionary_app::catalogue::Files;

/// The cited reference catalogue.
pub fn reference() -> Files {
    Files {
        name: "reference".into(),
        crops: vec![
            ("mango.toml".into(), include_str!("../data/crops/mango.toml").into()),
            ("citrus.toml".into(), include_str!("../data/crops/citrus.toml").into()),
            ("avocado.toml".into(), include_str!("../data/crops/avocado.toml").into()),
        ],
        sources: include_str!("../data/catalogue/sources.csv").into(),
        cultivars: include_str!("../data/catalogue/cultivars.csv").into(),
        names: include_str!("../data/catalogue/names.csv").into(),
        parents: include_str!("../data/catalogue/parents.csv").into(),
        evidence: include_str!("../data/catalogue/evidence.csv").into(),
    }
}

/// The invented catalogue of the demo.
pub fn demo() -> Files {
    Files {
        name: "demo".into(),
        crops: Vec::new(),
        sources: include_str!("../data/demo/sources.csv").into(),
        cultivars: include_str!("../data/demo/cultivars.csv").into(),
        names: include_str!("../data/demo/names.csv").into(),
        parents: String::new(),
        evidence: include_str!("../data/demo/evidence.csv").into(),
    }
}

/// A club's own catalogue: a folder with some of `crops/*.toml`, `sources.csv`, `cultivars.csv`,
/// `names.csv`, `parents.csv`, `evidence.csv`.
///
/// # Errors
/// When the folder or a file in it cannot be read.
pub fn folder(path: &Path) -> io::Result<Files> {
    let read = |file: &str| match fs::read_to_string(path.join(file)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(String::new()),
        other => other.map_err(|e| io::Error::new(e.kind(), format!("{}: {e}", path.join(file).display()))),
    };
    let mut crops = Vec::new();
    let crops_folder = path.join("crops");
    if crops_folder.is_dir() {
        let mut files: Vec<_> = fs::read_dir(&crops_folder)?.collect::<Result<Vec<_>, _>>()?;
        files.sort_by_key(fs::DirEntry::file_name);
        for file in files {
            let name = file.file_name().to_string_lossy().into_owned();
            if name.ends_with(".toml") {
                crops.push((name, fs::read_to_string(file.path())?));
            }
        }
    }
    fs::read_dir(path).map_err(|e| io::Error::new(e.kind(), format!("{}: {e}", path.display())))?;
    let name = path.file_name().map_or_else(|| "own".into(), |n| n.to_string_lossy().into_owned());
    Ok(Files {
        name,
        crops,
        sources: read("sources.csv")?,
        cultivars: read("cultivars.csv")?,
        names: read("names.csv")?,
        parents: read("parents.csv")?,
        evidence: read("evidence.csv")?,
    })
}
