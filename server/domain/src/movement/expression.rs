//! Which places a rule names, and how far it holds for stated ones.

use std::collections::BTreeSet;

use super::place::{AREA, Holds, OF_SUBDIVISION, Places, Width, chain, subdivision};
use crate::time::Date;

/// One term of an expression.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Term {
    Node(String),
    /// The same country's same subdivision as the origin.
    SameSubdivision,
    /// The same regulated area as the origin.
    SameArea,
}

/// Which places a rule names: of the terms that contain a place the narrowest decides, included or excluded; of equally
/// narrow ones exclusion.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expression {
    terms: Vec<(Term, bool)>,
}

impl Expression {
    /// Reads `US|!US-HI`; every part is a code, an area, `SAME-SUBDIV` or `SAME-AREA`.
    ///
    /// # Errors
    /// What was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut terms = Vec::new();
        for part in text.split('|').map(str::trim) {
            let (code, excluded) = match part.strip_prefix('!') {
                Some(code) => (code, true),
                None => (part, false),
            };
            let plain = code.strip_prefix(AREA).unwrap_or(code);
            if plain.is_empty() || !plain.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '/'))
            {
                return Err(format!("codes of places separated by | expected, {part:?} found"));
            }
            let term = match code {
                "SAME-SUBDIV" => Term::SameSubdivision,
                "SAME-AREA" => Term::SameArea,
                node => Term::Node(node.to_string()),
            };
            terms.push((term, excluded));
        }
        if terms.iter().all(|(_, excluded)| *excluded) {
            return Err("at least one place that is not excluded expected".into());
        }
        Ok(Self { terms })
    }

    /// The same under each place's one code.
    pub(super) fn canonical(&self, places: &Places) -> Self {
        let terms = self.terms.iter().map(|(term, excluded)| match term {
            Term::Node(code) => (Term::Node(places.canonical(code)), *excluded),
            Term::SameSubdivision | Term::SameArea => (term.clone(), *excluded),
        });
        Self { terms: terms.collect() }
    }

    /// The countries that it can hold in; `None` for all of them.
    pub(super) fn countries(&self, places: &Places) -> Option<BTreeSet<String>> {
        let included = self.terms.iter().filter(|(_, excluded)| !excluded);
        included.map(|(term, _)| term).try_fold(BTreeSet::new(), |mut all, term| {
            match term {
                Term::Node(code) => all.extend(places.countries(code)?),
                Term::SameSubdivision | Term::SameArea => return None,
            }
            Some(all)
        })
    }

    fn nodes(&self, excluded: bool) -> impl Iterator<Item = &str> {
        self.terms.iter().filter(move |(_, out)| *out == excluded).filter_map(|(term, _)| match term {
            Term::Node(code) => Some(code.as_str()),
            Term::SameSubdivision | Term::SameArea => None,
        })
    }

    /// The nodes that it includes by name.
    pub fn included(&self) -> impl Iterator<Item = &str> {
        self.nodes(false)
    }

    /// All nodes that it names.
    pub fn named(&self) -> impl Iterator<Item = &str> {
        self.nodes(false).chain(self.nodes(true))
    }

    /// Whether it depends on the origin.
    fn relates(&self) -> bool {
        self.terms.iter().any(|(term, _)| matches!(term, Term::SameSubdivision | Term::SameArea))
    }

    /// Whether it holds for an exact place, of something grown at another under a rule whose `from` is given.
    fn is_true(&self, places: &Places, at: &str, grown_at: &str, from: &Self, day: Date) -> bool {
        let width = |term: &Term| -> Option<Width> {
            match term {
                Term::Node(code) => places.contains(code, at, day),
                Term::SameSubdivision => {
                    let same = subdivision(at).is_some() && subdivision(at) == subdivision(grown_at);
                    same.then_some(OF_SUBDIVISION)
                }
                // both in one and the same area, not each in some area
                Term::SameArea => from
                    .included()
                    .filter(|code| code.starts_with(AREA) && places.contains(code, grown_at, day).is_some())
                    .filter_map(|area| places.contains(area, at, day))
                    .max(),
            }
        };
        let narrowest = self.terms.iter().filter_map(|(term, out)| Some((width(term)?, *out))).max();
        narrowest.is_some_and(|(_, excluded)| !excluded)
    }

    /// The text, as it is read.
    pub fn text(&self) -> String {
        let part = |(term, out): &(Term, bool)| {
            let code = match term {
                Term::Node(code) => code.as_str(),
                Term::SameSubdivision => "SAME-SUBDIV",
                Term::SameArea => "SAME-AREA",
            };
            format!("{}{code}", if *out { "!" } else { "" })
        };
        self.terms.iter().map(part).collect::<Vec<_>>().join("|")
    }
}

/// How far a rule's places hold for a stated origin and destination on a day: surely where they do whatever exact places
/// are meant.
pub(super) fn between(
    (from, to): (&Expression, &Expression),
    places: &Places,
    (origin, destination): (&str, &str),
    day: Date,
) -> Holds {
    // nothing that the rule names lies below the places as stated: they are exact, as far as it goes
    let exact = |stated: &str| {
        !places.is_wide(stated)
            && (!to.relates() || subdivision(stated).is_some())
            && !from.named().chain(to.named()).any(|node| places.reaches_below(node, stated, day))
    };
    let below =
        |one: &str, other: &str| one.strip_prefix(other).is_some_and(|rest| rest.starts_with(['-', '/']));
    let related = to.relates() && (below(origin, destination) || below(destination, origin));
    if !related && exact(origin) && exact(destination) {
        let holds = from.is_true(places, origin, origin, from, day)
            && to.is_true(places, destination, origin, from, day);
        return if holds { Holds::Yes } else { Holds::No };
    }
    let mut nodes = BTreeSet::new();
    for node in from.named().chain(to.named()) {
        places.nodes(node, day, &mut nodes);
    }
    if to.relates() {
        // where the one may be is kept apart for the other
        let mut stated = BTreeSet::new();
        places.nodes(origin, day, &mut stated);
        places.nodes(destination, day, &mut stated);
        nodes.extend(stated.into_iter().flat_map(chain));
    }
    let grown: Vec<String> = places.meant(origin, &nodes, day).into_iter().collect();
    let from_here: Vec<&String> = grown.iter().filter(|at| from.is_true(places, at, at, from, day)).collect();
    if from_here.is_empty() {
        return Holds::No;
    }
    let goes: Vec<String> = places.meant(destination, &nodes, day).into_iter().collect();
    let (mut some, mut all) = (false, from_here.len() == grown.len());
    // what does not depend on the origin is asked once
    let origins = if to.relates() { from_here.as_slice() } else { from_here.get(..1).unwrap_or_default() };
    for grown_at in origins {
        for at in &goes {
            let holds = to.is_true(places, at, grown_at, from, day);
            some |= holds;
            all &= holds;
        }
    }
    match (some, all) {
        (true, true) => Holds::Yes,
        (true, false) => Holds::Partly,
        (false, _) => Holds::No,
    }
}

#[cfg(test)]
mod tests {
    use super::{super::Member, *};

    #[test]
    fn expressions_include_and_exclude() {
        let member = |area: &str, place: &str| Member {
            area: area.into(),
            place: place.into(),
            from: None,
            to: None,
            citation: "made up for the test".into(),
        };
        let places = Places::new(
            vec![
                member("RA:A", "XB-N"),
                member("RA:B", "XB-S/bay"),
                member("BLOC", "XB"),
                member("BLOC", "XC"),
            ],
            vec![],
        );
        let now: Date = "2025-01-01".parse().unwrap();
        let holds = |from: &str, to: &str, origin: &str, destination: &str| {
            let (from, to) = (Expression::parse(from).unwrap(), Expression::parse(to).unwrap());
            between((&from, &to), &places, (origin, destination), now)
        };
        use Holds::{No, Partly, Yes};
        for (from, to, origin, destination, expected) in [
            ("WORLD", "XB|!XB-N", "XC", "XB-N", No),
            ("WORLD", "XB|!XB-N", "XC", "XB", Partly),
            ("WORLD", "XB|!XB-N", "WORLD", "XB-S", Yes),
            ("XB|!XB-N", "WORLD", "WORLD", "XC", Partly),
            ("WORLD", "XB|!SAME-SUBDIV", "XB-N", "XB-S", Yes),
            ("WORLD", "XB|!SAME-SUBDIV", "XB-N", "XB-N/vale", No),
            ("WORLD", "XB|!SAME-SUBDIV", "XB", "XB-N", Partly),
            ("WORLD", "XB|!SAME-SUBDIV", "XB", "XB", Partly),
            ("WORLD", "XB|!SAME-SUBDIV", "WORLD", "XB-N", Partly),
            ("WORLD", "XB|!SAME-SUBDIV", "XC", "XB-N", Yes),
            // the narrower term decides, whatever the order
            ("WORLD|!BLOC|XB", "WORLD", "XB", "XC", Yes),
            ("XB|WORLD|!BLOC", "WORLD", "XC", "XQ", No),
            ("XB|!XB-N|XB-N/vale", "WORLD", "XB-N/vale", "XC", Yes),
            ("XB|!XB", "WORLD", "XB", "XC", No),
            ("BLOC|!RA:A", "WORLD", "BLOC", "XQ", Partly),
            // two areas that a rule names are not one
            ("RA:A|RA:B", "SAME-AREA", "XB-N", "XB-N/vale", Yes),
            ("RA:A|RA:B", "SAME-AREA", "XB-N", "XB-S/bay", No),
            ("RA:A|RA:B", "WORLD|!SAME-AREA", "XB-N", "XB-S/bay", Yes),
            ("RA:A", "WORLD|!SAME-AREA", "XB-N", "XB", Partly),
            ("RA:NONE", "WORLD", "WORLD", "XB", No),
        ] {
            assert_eq!(
                holds(from, to, origin, destination),
                expected,
                "{from} to {to}: {origin} to {destination}"
            );
        }
        for wrong in ["", "!XB", "XB||XC", "X B", "RA:"] {
            assert!(Expression::parse(wrong).is_err(), "{wrong}");
        }
        assert_eq!(Expression::parse("WORLD| !XB|RA:A").unwrap().text(), "WORLD|!XB|RA:A");
    }
}
