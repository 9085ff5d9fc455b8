//! What goes on what: scions and rootstocks whose union sources report to hold, or to fail or decline.
//!
//! A source names the other partner in its own words ("Troyer and Carrizo citrange"). These are taken apart into
//! phrases, and a phrase stands for a plant that is called so, or that begins so ("Troyer"), or for all whose name
//! ends with it if it is a single word ("lemon"). The narrowest reports on a pair count; wider ones stand where there
//! is none. Both sides are shown.

use std::collections::BTreeSet;

/// What a source says of a union.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// It fails or declines.
    Fails,
    /// It holds.
    Holds,
}

/// A report of one source on a scion and a rootstock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// The scion's name: that of a record, or the source's words.
    pub scion: String,
    /// All names of the scion.
    pub scion_names: Vec<String>,
    /// The rootstock's name: that of a record, or the source's words.
    pub stock: String,
    /// All names of the rootstock.
    pub stock_names: Vec<String>,
    /// What became of it.
    pub outcome: Outcome,
    /// Key of the source.
    pub source: String,
    /// What the source adds, such as after how many years; may be empty.
    pub adds: String,
}

/// What sources say of one scion on one rootstock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Union {
    /// The scion.
    pub scion: String,
    /// The rootstock.
    pub stock: String,
    /// Keys of the sources that report it to fail or decline, each once.
    pub fails: Vec<String>,
    /// Keys of the sources that report it to hold, each once.
    pub holds: Vec<String>,
    /// What the sources of a failure add, each once.
    pub adds: Vec<String>,
    /// True if the reports are on a wider group than the pair itself.
    pub wide: bool,
}

/// Words around a partner's name that name nothing.
const AROUND: [&str; 13] = [
    "on",
    "under",
    "problems",
    "with",
    "severe",
    "overgrowth",
    "unsuitable",
    "for",
    "most",
    "certain",
    "no",
    "reported",
    "decline",
];

fn words(text: &str) -> Vec<String> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(|word| word.to_lowercase())
        .collect()
}

/// Returns the words of a phrase without those that name nothing.
fn named(phrase: &str) -> String {
    let mut kept: Vec<&str> = phrase.split_whitespace().collect();
    while kept.first().is_some_and(|word| AROUND.contains(word)) {
        kept.remove(0);
    }
    while kept.last().is_some_and(|word| AROUND.contains(word)) {
        kept.pop();
    }
    kept.join(" ")
}

/// Returns a word without the ending of the plural.
fn singular(word: &str) -> &str {
    word.strip_suffix('s').filter(|stem| stem.len() > 2 && !stem.ends_with('s')).unwrap_or(word)
}

/// Returns the partners in a source's words, each with its names, and what else it says.
pub fn partners(stated: &str) -> (Vec<Vec<String>>, String) {
    let mut all: Vec<Vec<String>> = Vec::new();
    let (mut plain, mut adds) = (String::new(), Vec::new());
    let mut rest = stated;
    while let Some((before, after)) = rest.split_once('(') {
        plain.push_str(before);
        let (inside, after) = after.split_once(')').unwrap_or((after, ""));
        // A botanical name is another name of the partner; anything else is said of it.
        if inside.starts_with(char::is_uppercase) {
            plain.push('=');
            plain.push_str(inside);
        } else {
            adds.push(inside.to_string());
        }
        rest = after;
    }
    plain.push_str(rest);
    let (plain, after_colon) = plain.split_once(':').map_or((plain.as_str(), ""), |(a, b)| (a, b));
    if !after_colon.trim().is_empty() {
        adds.push(after_colon.trim().to_string());
    }
    for part in
        plain.split([';', ',']).flat_map(|part| part.split(" and ")).flat_map(|part| part.split(" or "))
    {
        // Figures and years are said of a partner and name none.
        let names: Vec<String> =
            part.split('=').map(named).filter(|n| n.starts_with(char::is_alphabetic)).collect();
        if !names.is_empty() && !all.contains(&names) {
            all.push(names);
        }
    }
    (all, adds.join("; "))
}

/// How well a name in a report fits a plant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Fit {
    /// The plant itself.
    Itself,
    /// A group that it belongs to by its name.
    Group,
}

fn fit_one(reported: &[String], plant: &[String]) -> Option<Fit> {
    let same = |(a, b): (&String, &String)| singular(a) == singular(b);
    let begins = |short: &[String], long: &[String]| {
        !short.is_empty() && short.len() <= long.len() && short.iter().zip(long).all(same)
    };
    if begins(reported, plant) || begins(plant, reported) {
        return Some(Fit::Itself);
    }
    match (reported, plant.last()) {
        ([only], Some(last)) if plant.len() > 1 && singular(only) == singular(last) => Some(Fit::Group),
        _ => None,
    }
}

fn fit(reported: &[String], plant: &[String]) -> Option<Fit> {
    let plants: Vec<Vec<String>> = plant.iter().map(|name| words(name)).collect();
    let all = reported.iter().map(|name| words(name));
    all.flat_map(|name| plants.iter().filter_map(move |plant| fit_one(&name, plant)).collect::<Vec<_>>())
        .min()
}

fn distinct(all: impl Iterator<Item = String>) -> Vec<String> {
    let mut seen = BTreeSet::new();
    all.filter(|one| !one.is_empty() && seen.insert(one.clone())).collect()
}

fn union_of(scion: &str, stock: &str, reports: &[&Report], wide: bool) -> Union {
    let of = |outcome: Outcome| reports.iter().filter(move |r| r.outcome == outcome);
    Union {
        scion: scion.into(),
        stock: stock.into(),
        fails: distinct(of(Outcome::Fails).map(|r| r.source.clone())),
        holds: distinct(of(Outcome::Holds).map(|r| r.source.clone())),
        adds: distinct(of(Outcome::Fails).map(|r| r.adds.clone())),
        wide,
    }
}

/// Returns what is reported of a scion on a rootstock, each given by all its names, the usual one first. Returns `None`
/// if nothing is.
pub fn between(reports: &[Report], scion: &[String], stock: &[String]) -> Option<Union> {
    let fits: Vec<(Fit, &Report)> = reports
        .iter()
        .filter_map(|r| Some((fit(&r.scion_names, scion)?.max(fit(&r.stock_names, stock)?), r)))
        .collect();
    let narrowest = fits.iter().map(|(fit, _)| *fit).min()?;
    let those: Vec<&Report> = fits.iter().filter(|(fit, _)| *fit == narrowest).map(|(_, r)| *r).collect();
    Some(union_of(scion.first()?, stock.first()?, &those, narrowest == Fit::Group))
}

/// Returns the rootstocks that sources report on for a scion, those that fail for most sources first.
pub fn stocks_for(reports: &[Report], scion: &[String]) -> Vec<Union> {
    listed(reports, scion, true)
}

/// Returns the scions that sources report on for a rootstock, those that fail for most sources first.
pub fn scions_for(reports: &[Report], stock: &[String]) -> Vec<Union> {
    listed(reports, stock, false)
}

fn listed(reports: &[Report], plant: &[String], is_scion: bool) -> Vec<Union> {
    let sides = |r: &Report| {
        if is_scion {
            (r.scion_names.clone(), r.stock_names.clone())
        } else {
            (r.stock_names.clone(), r.scion_names.clone())
        }
    };
    let mut others: Vec<Vec<String>> = Vec::new();
    for report in reports {
        let (own, other) = sides(report);
        // The same partner may be called by one of its names here and by another there.
        let known = others.iter().any(|names| fit(names, &other) == Some(Fit::Itself));
        if fit(&own, plant).is_some() && !known {
            others.push(other);
        }
    }
    let mut all: Vec<Union> =
        others
            .iter()
            .filter_map(|other| {
                if is_scion { between(reports, plant, other) } else { between(reports, other, plant) }
            })
            .collect();
    all.sort_by(|a, b| b.fails.len().cmp(&a.fails.len()).then_with(|| b.holds.len().cmp(&a.holds.len())));
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn partners_are_read_from_words() {
        for (stated, names, adds) in [
            ("Troyer and Carrizo citrange", vec!["Troyer", "Carrizo citrange"], ""),
            ("Alemow (Citrus macrophylla)", vec!["Alemow=Citrus macrophylla"], ""),
            (
                "trifoliate orange (delayed, about 20 years)",
                vec!["trifoliate orange"],
                "delayed, about 20 years",
            ),
            ("trifoliate orange, 24 selections planted 1963", vec!["trifoliate orange"], ""),
            ("rough lemon unsuitable", vec!["rough lemon"], ""),
            (
                "Red Blush grapefruit and Valencia: crease in 2-3 years",
                vec!["Red Blush grapefruit", "Valencia"],
                "crease in 2-3 years",
            ),
            (
                "Eureka lemon; Navelina; problems with Daisy mandarin",
                vec!["Eureka lemon", "Navelina", "Daisy mandarin"],
                "",
            ),
            ("unsuitable for Ellendale and satsumas", vec!["Ellendale", "satsumas"], ""),
            ("lemon (bud union overgrowth)", vec!["lemon"], "bud union overgrowth"),
        ] {
            let names = names.into_iter().map(|n| n.split('=').map(String::from).collect()).collect();
            assert_eq!(partners(stated), (names, adds.to_string()));
        }
    }

    fn report(scion: &str, stock: &str, outcome: Outcome, source: &str) -> Report {
        Report {
            scion: scion.into(),
            scion_names: vec![scion.into()],
            stock: stock.into(),
            stock_names: vec![stock.into()],
            outcome,
            source: source.into(),
            adds: String::new(),
        }
    }
    fn names(all: &[&str]) -> Vec<String> {
        all.iter().map(|name| (*name).to_string()).collect()
    }

    #[test]
    fn the_narrowest_reports_count_and_both_sides_are_shown() {
        let all = [
            report("Eureka lemon", "trifoliate orange", Outcome::Fails, "A"),
            report("Eureka lemon", "trifoliate orange", Outcome::Fails, "B"),
            report("lemon", "trifoliate orange", Outcome::Holds, "C"),
            report("satsumas", "rough lemon", Outcome::Fails, "D"),
            report("Eureka lemon", "rough lemon", Outcome::Fails, "E"),
            report("Eureka lemon", "rough lemon", Outcome::Holds, "F"),
        ];
        let found = |scion: &str, stock: &str| between(&all, &names(&[scion]), &names(&[stock]));
        let eureka = found("Eureka lemon", "trifoliate").unwrap();
        assert_eq!(
            (eureka.fails.as_slice(), eureka.holds.as_slice(), eureka.wide),
            (&names(&["A", "B"])[..], &[][..], false)
        );
        let lisbon = found("Lisbon lemon", "trifoliate orange").unwrap();
        assert_eq!((lisbon.fails.len(), lisbon.holds.as_slice(), lisbon.wide), (0, &names(&["C"])[..], true));
        let owari = found("Owari satsuma", "rough lemon").unwrap();
        assert_eq!((owari.fails.as_slice(), owari.wide), (&names(&["D"])[..], true));
        let both = found("Eureka lemon", "rough lemon").unwrap();
        assert_eq!((both.fails.len(), both.holds.len()), (1, 1));
        assert_eq!(found("Owari satsuma", "trifoliate orange"), None);
        assert_eq!(found("Eureka lemon", "Volkamer lemon"), None, "another lemon is not the one reported");
        let stocks = stocks_for(&all, &names(&["Eureka lemon"]));
        let stocks: Vec<(&str, usize)> = stocks.iter().map(|u| (u.stock.as_str(), u.fails.len())).collect();
        assert_eq!(stocks, [("trifoliate orange", 2), ("rough lemon", 1)]);
        let scions = scions_for(&all, &names(&["rough lemon"]));
        let scions: Vec<&str> = scions.iter().map(|u| u.scion.as_str()).collect();
        assert_eq!(scions, ["Eureka lemon", "satsumas"]);
    }
}
