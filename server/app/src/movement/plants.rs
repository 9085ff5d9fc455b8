//! The plants of a movement as rules name them: of an offer, of a record, or as someone typed them.

use scionary_domain::{
    movement::{Read, Rules},
    offer::{Contents, Material},
};

use crate::registry::Registry;

/// The genus or species of a crop, by which an abbreviated genus is read.
fn of_crop(registry: &Registry, crop: &str) -> String {
    registry.crop(crop).map(|c| c.botanical_name.clone()).unwrap_or_default()
}

/// A name as rules are asked by it; what is in no table stays as it was written, and only rules on any plant fit it.
fn read(rules: &Rules, name: &str, crop: &str) -> Vec<String> {
    match rules.taxa().read(name, crop) {
        Read::Known(names) => names,
        Read::Unknown { .. } => vec![name.trim().to_string()],
    }
}

/// The plants that a record's botanical name stands for; its crop's where it has none.
pub(super) fn of_name(registry: &Registry, rules: &Rules, name: &str, crop: &str) -> Vec<String> {
    let genus = of_crop(registry, crop);
    read(rules, if name.trim().is_empty() { &genus } else { name }, &genus)
}

/// A rootstock: a cultivar on file, a plant, or words that no list has ("unknown").
pub(super) fn rootstock(registry: &Registry, rules: &Rules, words: &str, crop: &str) -> Vec<String> {
    let genus = of_crop(registry, crop);
    let on_file = registry.resolve("rootstock", words, crop).ok().map(|r| &r.cultivar.botanical_name);
    if let Some(name) = on_file {
        return of_name(registry, rules, name, crop);
    }
    match rules.taxa().read(words, &genus) {
        Read::Known(names) => names,
        Read::Unknown { .. } => vec![format!("rootstock {}", words.trim())],
    }
}

/// The plants of an offer: what it is of, and the rootstock below a graft.
pub(super) fn of_offer(registry: &Registry, rules: &Rules, contents: &Contents) -> Vec<String> {
    let mut plants = of_name(registry, rules, &contents.health.botanical_name, &contents.crop);
    if contents.material == Material::GraftedPlant {
        for plant in rootstock(registry, rules, &contents.health.rootstock, &contents.crop) {
            if !plants.contains(&plant) {
                plants.push(plant);
            }
        }
    }
    plants
}

/// A plant that someone typed.
///
/// # Errors
/// What was expected, with names like it.
pub(super) fn typed(registry: &Registry, rules: &Rules, name: &str) -> Result<Vec<String>, String> {
    let by_crop = registry
        .crops()
        .find(|crop| [&crop.slug, &crop.name].iter().any(|known| known.eq_ignore_ascii_case(name.trim())));
    if let Some(crop) = by_crop {
        return Ok(read(rules, &crop.botanical_name, &crop.botanical_name));
    }
    match rules.taxa().read(name, "") {
        Read::Known(names) => Ok(names),
        Read::Unknown { word, like } => {
            let like = if like.is_empty() { String::new() } else { format!(" ({}?)", like.join(", ")) };
            Err(format!(
                "a plant on file expected, {word:?} found{like}; a plant that no list has can be asked about as unlisted: then only rules on any plant are looked at"
            ))
        }
    }
}
