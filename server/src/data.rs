//! The data that ships with the server, and folders that a club adds.

use std::{
    collections::BTreeMap,
    fs,
    io::{self, Read as _},
    path::Path,
    sync::LazyLock,
};

use flate2::read::GzDecoder;
use scionary_app::{Error, catalogue::Files, movement::MovementFiles};
use scionary_domain::gazetteer::Gazetteer;

/// Where the names of places come from, as their licences ask to be said.
pub const PLACES_ATTRIBUTION: &str =
    "Place names: GeoNames (CC BY 4.0), reduced; names of states: Unicode CLDR (Unicode License v3).";

/// Places by name. Unpacked when first asked for.
///
/// # Errors
/// A table that does not unpack: a mistake of ours.
pub fn gazetteer() -> Result<&'static Gazetteer, Error> {
    static READ: LazyLock<Result<Gazetteer, String>> = LazyLock::new(|| {
        let unpack = |packed: &[u8]| {
            let mut text = String::new();
            let read = GzDecoder::new(packed).read_to_string(&mut text);
            read.map(|_| text).map_err(|e| e.to_string())
        };
        let towns = unpack(include_bytes!("../data/places/towns.tsv.gz"))?;
        let subdivisions = unpack(include_bytes!("../data/places/subdivisions.tsv.gz"))?;
        let countries = unpack(include_bytes!("../data/places/countries.tsv.gz"))?;
        Gazetteer::read(&towns, &subdivisions, &countries).map_err(|e| e.to_string())
    });
    READ.as_ref().map_err(|e| Error::Internal(format!("the gazetteer cannot be read: {e}")))
}

/// The files that ship with the server, by folder and name: packed by the build, unpacked when they are first asked for.
static SHIPPED: LazyLock<BTreeMap<String, String>> = LazyLock::new(|| {
    let mut text = String::new();
    let packed: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/data.gz"));
    let mut files = BTreeMap::new();
    // the build has written it: what cannot be read is missed as a file by whoever asks for it
    if GzDecoder::new(packed).read_to_string(&mut text).is_err() {
        return files;
    }
    let mut rest = text.as_str();
    while let Some((head, after)) = rest.split_once('\n') {
        let Some((name, length)) = head.rsplit_once(' ') else { break };
        let Some((file, next)) = length.parse().ok().and_then(|n: usize| after.split_at_checked(n)) else {
            break;
        };
        files.insert(name.to_string(), file.to_string());
        rest = next;
    }
    files
});

fn shipped(name: &str) -> String {
    SHIPPED.get(name).cloned().unwrap_or_default()
}

/// The cited reference catalogue.
pub fn reference() -> Files {
    let crops = SHIPPED
        .iter()
        .filter_map(|(name, text)| Some((name.strip_prefix("crops/")?.to_string(), text.clone())));
    Files {
        name: "reference".into(),
        crops: crops.collect(),
        sources: shipped("catalogue/sources.csv"),
        cultivars: shipped("catalogue/cultivars.csv"),
        names: shipped("catalogue/names.csv"),
        parents: shipped("catalogue/parents.csv"),
        evidence: shipped("catalogue/evidence.csv"),
    }
}

/// The rules on moving plants that ship with the server: read and dated as each row says.
pub fn movement() -> MovementFiles {
    MovementFiles {
        name: "reference".into(),
        rules: shipped("movement/rules.csv"),
        places: shipped("movement/places.csv"),
        aliases: shipped("movement/aliases.csv"),
        taxa: shipped("movement/taxa.csv"),
        pests: shipped("movement/pests.csv"),
        authorities: shipped("movement/authorities.csv"),
    }
}

/// A club's own rules: some of `rules.csv`, `places.csv`, `aliases.csv`, `taxa.csv`, `pests.csv` and `authorities.csv` in
/// the folder `movement` of a catalogue folder.
///
/// # Errors
/// When a file cannot be read.
pub fn movement_folder(path: &Path) -> io::Result<MovementFiles> {
    let folder = path.join("movement");
    let read = |file: &str| match fs::read_to_string(folder.join(file)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(String::new()),
        other => other.map_err(|e| io::Error::new(e.kind(), format!("{}: {e}", folder.join(file).display()))),
    };
    Ok(MovementFiles {
        name: path.file_name().map_or_else(|| "own".into(), |n| n.to_string_lossy().into_owned()),
        rules: read("rules.csv")?,
        places: read("places.csv")?,
        aliases: read("aliases.csv")?,
        taxa: read("taxa.csv")?,
        pests: read("pests.csv")?,
        authorities: read("authorities.csv")?,
    })
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
