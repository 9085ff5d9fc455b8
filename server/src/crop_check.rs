//! `scionaryd crop check`: what is wrong with a crop profile, for whoever writes one.

use crate::say::say;
use std::{fs, io, path::Path, process::ExitCode};

use scionary_app::catalogue;

use crate::data;

/// Checks the file and prints what was found. Exit codes: 0 fine, 1 with mistakes, 4 where a file cannot be read.
pub fn run(file: &Path, sources: Option<&Path>) -> ExitCode {
    let read = |path: &Path| {
        fs::read_to_string(path).map_err(|error| {
            eprintln!("{} cannot be read: {error}", path.display());
            ExitCode::from(4)
        })
    };
    let beside = file.parent().and_then(Path::parent).map(|folder| folder.join("sources.csv"));
    let own = match (sources, beside) {
        (Some(path), _) => read(path),
        (None, Some(path)) => match fs::read_to_string(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(String::new()),
            Ok(text) => Ok(text),
            Err(_) => read(&path),
        },
        (None, None) => Ok(String::new()),
    };
    let (text, own) = match (read(file), own) {
        (Ok(text), Ok(own)) => (text, own),
        (Err(code), _) | (_, Err(code)) => return code,
    };
    let (crop, mistakes) = catalogue::crop_mistakes(&text, &[&own, &data::reference().sources]);
    for mistake in &mistakes {
        say!("{}: {}", file.display(), mistake.trim_end());
    }
    match crop {
        Some(crop) if mistakes.is_empty() => {
            say!(
                "{} is fine: {} ({}), {} descriptors, {} timings, {} ways of keeping, {} cautions",
                file.display(),
                crop.slug,
                crop.botanical_name,
                crop.descriptors.len(),
                crop.timings.len(),
                crop.storages.len(),
                crop.cautions.len()
            );
            say!("To use it: a folder with crops/{}.toml, named by data.catalogue_folders.", crop.slug);
            ExitCode::SUCCESS
        }
        _ => {
            say!("{} mistakes; the files in server/data/crops show how it is done", mistakes.len());
            ExitCode::FAILURE
        }
    }
}
