//! Place expressions of rules, and how far they hold for stated places.

use std::collections::BTreeSet;

use super::place::{AREA, Holds, OF_SUBDIVISION, Places, Width, chain, subdivision};
use crate::time::Date;

/// One term of an expression.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Term {
    Node(String),
    /// Matches a destination in the same subdivision of the same country as the origin.
    SameSubdivision,
    /// Matches a destination in the same regulated area as the origin.
    SameArea,
}

/// Places that a rule names. The narrowest term that contains a place decides whether it is included or
/// excluded; of equally narrow terms, exclusion wins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expression {
    terms: Vec<(Term, bool)>,
}

impl Expression {
    /// Parses text such as `US|!US-HI`. Each term is a place code, an area, `SAME-SUBDIV` or `SAME-AREA`; `!`
    /// excludes.
    ///
    /// # Errors
    /// Returns a message when a term is not a code, or when every term is excluded.
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

    /// Returns the expression with each place's canonical code.
    pub(super) fn canonical(&self, places: &Places) -> Self {
        let terms = self.terms.iter().map(|(term, excluded)| match term {
            Term::Node(code) => (Term::Node(places.canonical(code)), *excluded),
            Term::SameSubdivision | Term::SameArea => (term.clone(), *excluded),
        });
        Self { terms: terms.collect() }
    }

    /// Returns the countries in which the expression can hold; `None` means all countries.
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

    /// Returns the place codes that the expression includes by name.
    pub fn included(&self) -> impl Iterator<Item = &str> {
        self.nodes(false)
    }

    /// Returns all place codes that the expression names, included or excluded.
    pub fn named(&self) -> impl Iterator<Item = &str> {
        self.nodes(false).chain(self.nodes(true))
    }

    /// Returns true if the expression depends on the origin.
    fn relates(&self) -> bool {
        self.terms.iter().any(|(term, _)| matches!(term, Term::SameSubdivision | Term::SameArea))
    }

    /// Returns true if the expression holds for the exact place `at`, for a plant grown at `grown_at` under a
    /// rule with this `from`.
    fn is_true(&self, places: &Places, at: &str, grown_at: &str, from: &Self, day: Date) -> bool {
        let width = |term: &Term| -> Option<Width> {
            match term {
                Term::Node(code) => places.contains(code, at, day),
                Term::SameSubdivision => {
                    let same = subdivision(at).is_some() && subdivision(at) == subdivision(grown_at);
                    same.then_some(OF_SUBDIVISION)
                }
                // Both places must be in one and the same area, not each in some area.
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

    /// Returns the text form that [`Self::parse`] reads.
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

/// Returns how far a rule's two expressions hold for a stated origin and destination on a day. [`Holds::Yes`]
/// means that they hold for every exact place that the stated ones may mean.
pub(super) fn between(
    (from, to): (&Expression, &Expression),
    places: &Places,
    (origin, destination): (&str, &str),
    day: Date,
) -> Holds {
    // A stated place is exact if nothing that the rule names lies below it.
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
        // A relation compares both places, so the nodes of each must split the other too.
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
    // An expression that does not depend on the origin needs only one evaluation.
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
            // The narrower term decides, in any order.
            ("WORLD|!BLOC|XB", "WORLD", "XB", "XC", Yes),
            ("XB|WORLD|!BLOC", "WORLD", "XC", "XQ", No),
            ("XB|!XB-N|XB-N/vale", "WORLD", "XB-N/vale", "XC", Yes),
            ("XB|!XB", "WORLD", "XB", "XC", No),
            ("BLOC|!RA:A", "WORLD", "BLOC", "XQ", Partly),
            // Two areas that a rule names are not one area.
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
