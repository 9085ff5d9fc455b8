//! Parses lists of wishes as people type them.

use std::{io::Read as _, path::PathBuf};

use scionary_domain::lineage::LotCode;
use scionary_proto::v1;
use scionary_show::round::wish as show;

use crate::{client::Client, error::Failure, output::Output, words};

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
    let wishes = lines.iter().map(|line| parse(line)).collect::<Result<Vec<_>, String>>();
    let wishes = wishes.map_err(Failure::usage)?;
    let count = wishes.len();
    let request = v1::SetWishesRequest { round_id: round, wishes };
    let set = client.call(request).await;
    let reply: v1::SetWishesResponse = set.map_err(|failure| by_line(failure, &lines))?;
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

/// Parses a line: `12`, `7 or 9`, `2 x Larkwater Gold, scion wood`.
fn parse(line: &str) -> Result<v1::WishLine, String> {
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
    let accepts =
        rest.split(" or ").map(|choice| choose(choice.trim(), line)).collect::<Result<Vec<_>, _>>()?;
    Ok(v1::WishLine { rank: 0, quantity, accepts })
}

/// Parses a choice: a lot's number, code or id, or a cultivar and its material after a comma.
fn choose(choice: &str, line: &str) -> Result<v1::WishAccepts, String> {
    let word = choice.trim_start_matches('#');
    let is_lot = word.starts_with("rlt_") || word.parse::<u32>().is_ok() || word.parse::<LotCode>().is_ok();
    if is_lot {
        return Ok(v1::WishAccepts { lot: word.to_string(), ..Default::default() });
    }
    let (name, material) = choice.rsplit_once(',').ok_or_else(|| {
        format!("{line:?}: a lot's number or the code on its tag expected, or a cultivar with its material, such as \"{}, scion wood\"", if choice.is_empty() { "Larkwater Gold" } else { choice })
    })?;
    let material = words::parse_material(&material.trim().to_lowercase().replace(' ', "-"))
        .map_err(|e| format!("{line:?}: {e}"))?;
    Ok(v1::WishAccepts { cultivar: name.trim().to_string(), material: material.into(), ..Default::default() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_as_they_are_typed() {
        assert_eq!(parse("12").unwrap().accepts[0].lot, "12");
        let either = parse("2 x 7 or #9").unwrap();
        assert_eq!((either.quantity, either.accepts.len()), (2, 2));
        assert_eq!(either.accepts[1].lot, "9");
        let named = parse("3 x Larkwater Gold, scion wood or 4").unwrap();
        assert_eq!(named.quantity, 3);
        assert_eq!(named.accepts[0].cultivar, "Larkwater Gold");
        assert_eq!(named.accepts[0].material(), v1::Material::ScionWood);
        assert_eq!(named.accepts[1].lot, "4");
        // A name that begins with an x is not a count.
        assert_eq!(parse("Xanthe, seed").unwrap().accepts[0].cultivar, "Xanthe");
        assert!(parse("Larkwater Gold").unwrap_err().contains("scion wood"));
        assert!(parse("Larkwater Gold, leaves").is_err());
    }
}
