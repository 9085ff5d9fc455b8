//! Parses lists of wishes as people type them.

use std::{io::Read as _, path::PathBuf};

use scionary_domain::lineage::LotCode;
use scionary_proto::{v1, v1::wish_accepts::What};
use scionary_show::round::wish as show;

use super::every_lot;
use crate::{client::Client, error::Failure, output::Output, prompt, words};

/// Replaces the member's list of wishes.
pub(super) async fn wish(
    client: &Client,
    output: &Output,
    round: String,
    typed: Vec<String>,
    from: Option<PathBuf>,
    none: bool,
) -> Result<(), Failure> {
    let lines = match from {
        None => typed,
        Some(path) => {
            let failed = |e: std::io::Error| Failure::usage(format!("{}: {e}", path.display()));
            let mut text = String::new();
            if path.as_os_str() == "-" {
                std::io::stdin().read_to_string(&mut text).map_err(failed)?;
            } else {
                text = std::fs::read_to_string(&path).map_err(failed)?;
            }
            text.lines()
                .map(|l| l.trim().to_string())
                .filter(|l| !l.is_empty() && !l.starts_with('#'))
                .collect()
        }
    };
    if lines.is_empty() && !none {
        return Err(Failure::usage("no wish was given")
            .then("name lots or cultivars, such as: scionary round wish ID 12 \"7 or 9\"; or say --none"));
    }
    let lots = every_lot(client, &round, false).await?;
    let (mut wishes, mut typed) = (Vec::new(), Vec::new());
    for line in &lines {
        for wish in parse(line, &lots).map_err(Failure::usage)? {
            wishes.push(wish);
            typed.push(line.clone());
        }
    }
    if prompt::can_ask() && !client.is_quiet() && !wishes.is_empty() {
        for (wish, place) in wishes.iter().zip(1..) {
            output.aside(&format!("{place:>3}. {}", show::as_read(wish, &lots)));
        }
        prompt::confirm(client, "Keep these as your wishes, the dearest first", true, "")?;
    }
    let count = wishes.len();
    let request = v1::SetWishesRequest { round_id: round, wishes };
    let set = client.call(request).await;
    let reply: v1::SetWishesResponse = set.map_err(|failure| by_line(failure, &typed))?;
    let request = v1::GetMyRoundRequest { round_id: reply.round_id.clone() };
    let mine: v1::GetMyRoundResponse = client.call(request).await?;
    output.reply(&reply, |view| show::set_wishes(view, &reply, &mine, count))
}

/// Replaces the field path `wishes[n]` of a failure by the wish as it was typed.
fn by_line(mut failure: Failure, lines: &[String]) -> Failure {
    let named = |field: &str| -> Option<String> {
        let (at, _) = field.strip_prefix("wishes[")?.split_once(']')?;
        let at: usize = at.parse().ok()?;
        Some(format!("wish {} ({})", at + 1, lines.get(at)?))
    };
    for (field, _) in &mut failure.fields {
        if let Some(name) = named(field) {
            *field = name;
        }
    }
    failure
}

/// Parses a line: `12`, `lot 4`, `7 or 9`, `3,5,6` (three wishes), `2 x Larkwater Gold, scion wood`, `larkwater gold seed`,
/// or a cultivar alone, which means whatever is brought of it.
pub(super) fn parse(line: &str, lots: &[v1::RoundLot]) -> Result<Vec<v1::WishLine>, String> {
    let line = line.trim();
    let (quantity, rest) = match line.split_once(['x', 'X', '×']) {
        Some((count, rest))
            if !count.trim().is_empty() && count.trim().chars().all(|c| c.is_ascii_digit()) =>
        {
            let wrong = |_| format!("{line:?}: a number of packs expected before the x");
            (count.trim().parse().map_err(wrong)?, rest)
        }
        Some(_) | None => (0, line),
    };
    let wish = |accepts| v1::WishLine { rank: 0, quantity, accepts };
    let listed: Option<Vec<String>> = rest.split(',').map(lot_of).collect();
    if let Some(listed) = listed {
        return Ok(listed.into_iter().map(|lot| wish(vec![of_lot(lot)])).collect());
    }
    let mut accepts = Vec::new();
    // "Kent or Irwin, seed": what is said last is meant for those before it, too.
    let mut said = None;
    let choices: Vec<&str> = rest.split(" or ").map(str::trim).collect();
    for choice in choices.into_iter().rev() {
        if let Some(lot) = lot_of(choice) {
            accepts.push(vec![of_lot(lot)]);
            continue;
        }
        let (name, material) = named(choice).map_err(|e| format!("{line:?}: {e}"))?;
        said = material.or(said);
        let materials = match said {
            Some(material) => vec![material],
            None => brought(name, lots),
        };
        if materials.is_empty() {
            return Err(format!(
                "{line:?}: no one brings this yet, so say what of it, such as \"{name}, scion wood\""
            ));
        }
        accepts.push(materials.into_iter().map(|material| of_cultivar(name, material)).collect());
    }
    Ok(vec![wish(accepts.into_iter().rev().flatten().collect())])
}

fn of_lot(lot: String) -> v1::WishAccepts {
    v1::WishAccepts { what: Some(What::Lot(lot)) }
}

fn of_cultivar(name: &str, material: v1::Material) -> v1::WishAccepts {
    let (cultivar, crop) = (name.to_string(), String::new());
    v1::WishAccepts { what: Some(What::Any(v1::WishCultivar { cultivar, crop, material: material.into() })) }
}

/// Reads a lot: its number, code or id, with or without "lot" before it.
fn lot_of(text: &str) -> Option<String> {
    let text = text.trim();
    let word = match text.get(..3) {
        Some(head) if head.eq_ignore_ascii_case("lot") => text.get(3..)?.trim(),
        Some(_) | None => text,
    };
    let word = word.trim_start_matches('#');
    let is_lot = word.starts_with("rlt_") || word.parse::<u32>().is_ok() || word.parse::<LotCode>().is_ok();
    is_lot.then(|| word.to_string())
}

/// Splits a cultivar from its material, after a comma or at the end.
pub(super) fn named(choice: &str) -> Result<(&str, Option<v1::Material>), String> {
    if let Some((name, material)) = choice.rsplit_once(',') {
        return Ok((name.trim(), Some(read_material(material)?)));
    }
    for (at, _) in choice.match_indices(' ') {
        let (name, material) = choice.split_at(at);
        if let Ok(material) = read_material(material) {
            return Ok((name.trim(), Some(material)));
        }
    }
    Ok((choice, None))
}

/// Reads a material in people's words.
fn read_material(text: &str) -> Result<v1::Material, String> {
    let text = text.trim().to_lowercase();
    let word = match text.as_str() {
        "wood" | "scion" | "scions" | "sticks" | "scionwood" => "scion-wood",
        "buds" | "bud wood" => "budwood",
        "seeds" => "seed",
        "seedlings" => "seedling",
        "rootstocks" => "rootstock",
        "tree" | "trees" | "grafted tree" | "grafted trees" | "grafted plants" => "grafted-plant",
        "fruit" | "fruits" => "fruit-for-seed",
        "cuttings" => "cutting",
        "rooted plants" | "layer" | "layers" | "sucker" | "suckers" | "divisions" => "rooted-plant",
        other => other,
    };
    words::parse_material(&word.replace(' ', "-"))
}

/// Returns the materials in which others bring a cultivar.
fn brought(name: &str, lots: &[v1::RoundLot]) -> Vec<v1::Material> {
    let wanted = name.to_lowercase();
    let is_it = |lot: &&v1::RoundLot| {
        let full = lot.cultivar_name.to_lowercase();
        !lot.own && (full == wanted || full.split(" (").next() == Some(wanted.as_str()))
    };
    let mut all: Vec<v1::Material> = lots.iter().filter(is_it).map(v1::RoundLot::material).collect();
    all.sort_unstable();
    all.dedup();
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(line: &str) -> Vec<(i32, Vec<String>)> {
        let lot = |cultivar: &str, material: v1::Material, own| v1::RoundLot {
            cultivar_name: format!("{cultivar} (mango)"),
            material: material.into(),
            own,
            ..Default::default()
        };
        let lots = [
            lot("Quarrymead", v1::Material::Seed, false),
            lot("Quarrymead", v1::Material::ScionWood, false),
            lot("Quarrymead", v1::Material::Budwood, true),
        ];
        let choice = |accepts: &v1::WishAccepts| match accepts.what.clone().unwrap() {
            What::Lot(lot) => lot,
            What::Any(any) => format!("{} {}", any.cultivar, words::material(any.material())),
        };
        let wishes = parse(line, &lots).unwrap();
        wishes.iter().map(|w| (w.quantity, w.accepts.iter().map(choice).collect())).collect()
    }

    #[test]
    fn lines_as_they_are_typed() {
        let one =
            |quantity, choices: &[&str]| vec![(quantity, choices.iter().map(ToString::to_string).collect())];
        assert_eq!(said("12"), one(0, &["12"]));
        assert_eq!(said("lot 4"), one(0, &["4"]));
        assert_eq!(said("2 x 7 or #9"), one(2, &["7", "9"]));
        assert_eq!(said("3,5, 6").len(), 3);
        assert_eq!(said("3 x Larkwater Gold, scion wood or 4"), one(3, &["Larkwater Gold scion wood", "4"]));
        // A name that begins with an x is not a count.
        assert_eq!(said("Xanthe, seed"), one(0, &["Xanthe seed"]));
        assert_eq!(said("Larkwater Gold seed"), one(0, &["Larkwater Gold seed"]));
        assert_eq!(said("Larkwater Gold, wood"), one(0, &["Larkwater Gold scion wood"]));
        assert_eq!(
            said("Quarrymead or Larkwater Gold, scion wood"),
            one(0, &["Quarrymead scion wood", "Larkwater Gold scion wood"])
        );
        assert_eq!(said("quarrymead"), one(0, &["quarrymead scion wood", "quarrymead seed"]));
        assert!(parse("Larkwater Gold", &[]).unwrap_err().contains("scion wood"));
        assert!(parse("Larkwater Gold, leaves", &[]).is_err());
    }
}
