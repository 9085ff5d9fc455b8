//! Places as movement rules name them: a tree of codes (world, blocs, countries and subdivisions of ISO 3166, local
//! parts below them), and regulated areas cut across it whose members come and go by date.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::time::Date;

/// The code of the whole world.
pub const WORLD: &str = "WORLD";
/// Codes of regulated areas begin so.
const AREA: &str = "RA:";

/// How far something holds for a stated place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Holds {
    /// It does not.
    No,
    /// For a part of the place as stated, or the place is not known.
    Partly,
    /// It does.
    Yes,
}

impl Holds {
    fn and(self, other: Self) -> Self {
        self.min(other)
    }
    fn or(self, other: Self) -> Self {
        self.max(other)
    }
    fn not(self) -> Self {
        match self {
            Self::No => Self::Yes,
            Self::Partly => Self::Partly,
            Self::Yes => Self::No,
        }
    }
    fn of(is: bool) -> Self {
        if is { Self::Yes } else { Self::No }
    }
}

/// A place that somebody states; not known where it is `None`.
pub(super) type Stated<'a> = Option<&'a str>;

/// The place above a code in the tree, blocs apart: `US-TX/zapata`, `US-TX`, `US`.
fn above(code: &str) -> Option<&str> {
    if let Some((parent, _)) = code.rsplit_once('/') {
        return Some(parent);
    }
    code.split_once('-').map(|(country, _)| country)
}

/// A code and all above it, without blocs and the world.
fn chain(code: &str) -> impl Iterator<Item = &str> {
    std::iter::successors(Some(code), |at| above(at))
}

/// The country or subdivision of a code: `US-TX/zapata` lies in `US-TX`, and `US` names none.
pub(super) fn subdivision(code: &str) -> Option<&str> {
    chain(code).find(|at| at.contains('-') && !at.contains('/'))
}

/// The country of a code.
pub(super) fn country(code: &str) -> Option<&str> {
    chain(code).last()
}

/// One membership in a regulated area or a bloc.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Member {
    /// The area or bloc.
    pub area: String,
    /// The place in it.
    pub place: String,
    /// First day; always where it is not said.
    pub from: Option<Date>,
    /// Last day; still where it is not said.
    pub to: Option<Date>,
    /// Who says so.
    pub citation: String,
}

impl Member {
    fn holds_on(&self, day: Date) -> bool {
        self.from.is_none_or(|from| from <= day) && self.to.is_none_or(|to| day <= to)
    }
}

/// Areas and blocs with their members, and places that bear two codes.
#[derive(Clone, Debug, Default)]
pub struct Places {
    members: BTreeMap<String, Vec<Member>>,
    aliases: BTreeMap<String, String>,
}

impl Places {
    /// From memberships, and pairs of a further code and the one it stands for.
    pub fn new(members: Vec<Member>, aliases: Vec<(String, String)>) -> Self {
        let mut of: BTreeMap<String, Vec<Member>> = BTreeMap::new();
        for member in members {
            of.entry(member.area.clone()).or_default().push(member);
        }
        Self { members: of, aliases: aliases.into_iter().collect() }
    }

    /// The one code of a place that may bear two.
    pub fn canonical<'a>(&'a self, code: &'a str) -> &'a str {
        self.aliases.get(code).map_or(code, String::as_str)
    }

    /// Whether any member of an area or bloc is on file.
    pub fn has_members(&self, area: &str) -> bool {
        self.members.contains_key(area)
    }

    /// Whether a node of the tree, a bloc, or an area covers a stated place on a day.
    pub fn covers(&self, node: &str, place: Stated<'_>, day: Date) -> Holds {
        let Some(place) = place else {
            return if node == WORLD { Holds::Yes } else { Holds::Partly };
        };
        let (node, place) = (self.canonical(node), self.canonical(place));
        if node == WORLD {
            return Holds::Yes;
        }
        if let Some(members) = self.members.get(node) {
            return members
                .iter()
                .filter(|member| member.holds_on(day))
                .map(|member| self.covers(&member.place, Some(place), day))
                .max()
                .unwrap_or(Holds::No);
        }
        if chain(place).any(|at| self.canonical(at) == node) {
            Holds::Yes
        } else if chain(node).any(|at| at == place) || self.is_bloc_above(place, node, day) {
            // the place as stated is larger than the node: for a part of it
            Holds::Partly
        } else {
            Holds::No
        }
    }

    /// The countries that a node, a bloc or an area touches on any day; `None` for all of them.
    pub(super) fn countries(&self, node: &str) -> Option<BTreeSet<String>> {
        let node = self.canonical(node);
        if node == WORLD {
            return None;
        }
        match self.members.get(node) {
            Some(members) => members.iter().map(|m| self.countries(&m.place)).try_fold(
                BTreeSet::new(),
                |mut all, found| {
                    all.extend(found?);
                    Some(all)
                },
            ),
            // an area without members matches nothing
            None if node.starts_with(AREA) => Some(BTreeSet::new()),
            None => Some(country(node).map(Into::into).into_iter().collect()),
        }
    }

    /// Whether a place as stated is a bloc or the world: then its country tells nothing.
    pub(super) fn is_wide(&self, place: &str) -> bool {
        place == WORLD || self.members.contains_key(place)
    }

    /// Whether an area has members that lie in a place.
    pub(super) fn is_area_within(&self, area: &str, place: &str) -> bool {
        area.starts_with(AREA)
            && self.members.get(area).is_some_and(|members| {
                members.iter().any(|m| chain(&m.place).any(|at| self.canonical(at) == place))
            })
    }

    /// Whether a place lies in a bloc, on any day.
    pub(super) fn is_bloc_of(&self, bloc: &str, place: &str) -> bool {
        !bloc.starts_with(AREA)
            && self.members.get(bloc).is_some_and(|members| members.iter().any(|m| m.place == place))
    }

    /// A bloc was stated as the place, and the node lies in it.
    fn is_bloc_above(&self, place: &str, node: &str, day: Date) -> bool {
        place == WORLD
            || self.members.get(place).is_some_and(|members| {
                members
                    .iter()
                    .filter(|m| m.holds_on(day))
                    .any(|m| chain(node).any(|at| self.canonical(at) == self.canonical(&m.place)))
            })
    }
}

/// One term of an expression.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Term {
    Node(String),
    /// The same country's same subdivision as the origin.
    SameSubdivision,
    /// The same regulated area as the origin.
    SameArea,
}

/// Which places a rule names: those included, without those excluded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expression {
    include: Vec<Term>,
    exclude: Vec<Term>,
}

impl Expression {
    /// Reads `US|!US-HI`; every part is a code, an area, `SAME-SUBDIV` or `SAME-AREA`.
    ///
    /// # Errors
    /// What was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (mut include, mut exclude) = (Vec::new(), Vec::new());
        for part in text.split('|').map(str::trim) {
            let (list, code) = match part.strip_prefix('!') {
                Some(code) => (&mut exclude, code),
                None => (&mut include, part),
            };
            let plain = code.strip_prefix(AREA).unwrap_or(code);
            if plain.is_empty() || !plain.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '/'))
            {
                return Err(format!("codes of places separated by | expected, {part:?} found"));
            }
            list.push(match code {
                "SAME-SUBDIV" => Term::SameSubdivision,
                "SAME-AREA" => Term::SameArea,
                node => Term::Node(node.to_string()),
            });
        }
        if include.is_empty() {
            return Err("at least one place that is not excluded expected".into());
        }
        Ok(Self { include, exclude })
    }

    /// The countries that it can hold in; `None` for all of them.
    pub(super) fn countries(&self, places: &Places) -> Option<BTreeSet<String>> {
        self.include.iter().try_fold(BTreeSet::new(), |mut all, term| {
            match term {
                Term::Node(code) => all.extend(places.countries(code)?),
                Term::SameSubdivision | Term::SameArea => return None,
            }
            Some(all)
        })
    }

    /// The nodes that it includes by name.
    pub fn included(&self) -> impl Iterator<Item = &str> {
        self.include.iter().filter_map(|term| match term {
            Term::Node(code) => Some(code.as_str()),
            Term::SameSubdivision | Term::SameArea => None,
        })
    }

    /// All nodes that it names.
    pub fn named(&self) -> impl Iterator<Item = &str> {
        self.include.iter().chain(&self.exclude).filter_map(|term| match term {
            Term::Node(code) => Some(code.as_str()),
            Term::SameSubdivision | Term::SameArea => None,
        })
    }

    fn term(term: &Term, places: &Places, place: Stated<'_>, origin: &Origin<'_>, day: Date) -> Holds {
        match term {
            Term::Node(code) => places.covers(code, place, day),
            Term::SameSubdivision => match (origin.place, place) {
                (Some(a), Some(b)) => {
                    let (a, b) = (places.canonical(a), places.canonical(b));
                    match (subdivision(a), subdivision(b)) {
                        (Some(a), Some(b)) => Holds::of(a == b),
                        // one of them is coarser: the same country may mean the same subdivision
                        (_, _) if country(a) == country(b) => Holds::Partly,
                        (_, _) => Holds::No,
                    }
                }
                (_, _) => Holds::Partly,
            },
            Term::SameArea => origin
                .rule_from
                .included()
                .filter(|code| code.starts_with(AREA))
                .map(|area| places.covers(area, origin.place, day).and(places.covers(area, place, day)))
                .max()
                .unwrap_or(Holds::No),
        }
    }

    /// How far it holds for a stated place.
    pub(super) fn holds(&self, places: &Places, place: Stated<'_>, origin: &Origin<'_>, day: Date) -> Holds {
        let any = |terms: &[Term]| {
            terms.iter().map(|term| Self::term(term, places, place, origin, day)).fold(Holds::No, Holds::or)
        };
        any(&self.include).and(any(&self.exclude).not())
    }
}

/// Where material was grown, and the rule's own expression for origins, for terms that relate to both.
pub(super) struct Origin<'a> {
    pub(super) place: Stated<'a>,
    pub(super) rule_from: &'a Expression,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Date {
        text.parse().unwrap()
    }
    fn member(area: &str, place: &str, from: Option<&str>, to: Option<&str>) -> Member {
        Member {
            area: area.into(),
            place: place.into(),
            from: from.map(day),
            to: to.map(day),
            citation: "made up for the test".into(),
        }
    }

    #[test]
    fn coarse_places_match_in_part() {
        let places = Places::new(
            vec![
                member("RA:X", "XB-N/vale", Some("2024-05-14"), None),
                member("BLOC", "XB", None, None),
                member("BLOC", "XC", None, Some("2020-01-31")),
            ],
            vec![("XD".into(), "XB-D".into())],
        );
        let now = day("2025-01-01");
        let covers = |node: &str, place: Option<&str>| places.covers(node, place, now);
        assert_eq!(covers("XB", Some("XB-N/vale")), Holds::Yes);
        assert_eq!(covers("XB-N/vale", Some("XB-N")), Holds::Partly);
        assert_eq!(covers("RA:X", Some("XB-N/vale/farm")), Holds::Yes);
        assert_eq!(covers("RA:X", Some("XB")), Holds::Partly);
        assert_eq!(covers("RA:X", Some("XB-S")), Holds::No);
        assert_eq!(places.covers("RA:X", Some("XB-N/vale"), day("2024-05-13")), Holds::No);
        assert_eq!(covers("BLOC", Some("XB-N")), Holds::Yes);
        assert_eq!(covers("BLOC", Some("XC")), Holds::No, "it has left");
        assert_eq!(covers("XB-N", Some("BLOC")), Holds::Partly, "a bloc was stated");
        assert_eq!(covers("XB", None), Holds::Partly);
        assert_eq!(covers(WORLD, None), Holds::Yes);
        assert_eq!(covers("XB", Some("XD")), Holds::Yes, "two codes of one place");
        assert_eq!(covers("XB-D", Some("XD")), Holds::Yes);
    }

    #[test]
    fn expressions_include_and_exclude() {
        let places = Places::new(
            vec![member("RA:A", "XB-N", None, None), member("RA:A", "XB-S/bay", None, None)],
            vec![],
        );
        let now = day("2025-01-01");
        let everywhere = Expression::parse("WORLD").unwrap();
        let holds = |text: &str, from: Option<&str>, rule_from: &Expression, to: Option<&str>| {
            Expression::parse(text).unwrap().holds(&places, to, &Origin { place: from, rule_from }, now)
        };
        assert_eq!(holds("XB|!XB-N", None, &everywhere, Some("XB-N")), Holds::No);
        assert_eq!(holds("XB|!XB-N", None, &everywhere, Some("XB")), Holds::Partly);
        assert_eq!(holds("XB|!SAME-SUBDIV", Some("XB-N"), &everywhere, Some("XB-S")), Holds::Yes);
        assert_eq!(holds("XB|!SAME-SUBDIV", Some("XB-N"), &everywhere, Some("XB-N/vale")), Holds::No);
        assert_eq!(holds("XB|!SAME-SUBDIV", Some("XB"), &everywhere, Some("XB-N")), Holds::Partly);
        // an area in two parts: moving between them stays within it by its name
        let area = Expression::parse("RA:A").unwrap();
        assert_eq!(holds("SAME-AREA", Some("XB-N"), &area, Some("XB-S/bay")), Holds::Yes);
        assert_eq!(holds("WORLD|!SAME-AREA", Some("XB-N"), &area, Some("XB-S/bay")), Holds::No);
        assert_eq!(holds("WORLD|!SAME-AREA", Some("XB-N"), &area, Some("XC")), Holds::Yes);
        for wrong in ["", "!XB", "XB||XC", "X B", "RA:"] {
            assert!(Expression::parse(wrong).is_err(), "{wrong}");
        }
    }
}
