//! Places as movement rules name them: a tree of codes (world, blocs, countries and subdivisions of ISO 3166, local
//! parts below them), and regulated areas cut across it whose members come and go by date.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::time::Date;

/// The code of the whole world.
pub const WORLD: &str = "WORLD";
/// Codes of regulated areas begin so.
pub(super) const AREA: &str = "RA:";

/// How far something holds for what was stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Holds {
    /// It does not.
    No,
    /// For a part of it: what was stated is too coarse to tell.
    Partly,
    /// It does.
    Yes,
}

/// How wide a place is: the world, a bloc, a country, a subdivision, and so on down to local parts.
pub(super) type Width = usize;
pub(super) const OF_WORLD: Width = 0;
pub(super) const OF_BLOC: Width = 1;
pub(super) const OF_SUBDIVISION: Width = 3;

/// The place above a code in the tree, blocs apart: `US-TX/zapata`, `US-TX`, `US`.
fn above(code: &str) -> Option<&str> {
    if let Some((parent, _)) = code.rsplit_once('/') {
        return Some(parent);
    }
    code.split_once('-').map(|(country, _)| country)
}

/// A code and all above it, without blocs and the world.
pub(super) fn chain(code: &str) -> impl Iterator<Item = &str> {
    std::iter::successors(Some(code), |at| above(at))
}

/// The subdivision of a code: `US-TX/zapata` lies in `US-TX`, `US` names none; a local part directly below a country is
/// its own.
pub(super) fn subdivision(code: &str) -> Option<&str> {
    chain(code).filter(|at| above(at).is_some()).last()
}

/// The country of a code.
pub(super) fn country(code: &str) -> Option<&str> {
    chain(code).last()
}

fn width(code: &str) -> Width {
    // a country is the third widest, a local part is narrower than any subdivision
    let local = code.matches('/').count();
    let base = if local > 0 || code.contains('-') { OF_SUBDIVISION } else { OF_BLOC + 1 };
    base + local
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
    /// Subdivisions and local parts that something on file names, and all above them.
    parts: BTreeSet<String>,
}

impl Places {
    /// From memberships, and pairs of a further code and the one it stands for.
    pub fn new(members: Vec<Member>, aliases: Vec<(String, String)>) -> Self {
        let mut places =
            Self { members: BTreeMap::new(), aliases: aliases.into_iter().collect(), parts: BTreeSet::new() };
        let stands_for: Vec<String> = places.aliases.values().cloned().collect();
        stands_for.iter().for_each(|code| places.note(code));
        for mut member in members {
            member.place = places.canonical(&member.place);
            places.note(&member.place);
            places.members.entry(member.area.clone()).or_default().push(member);
        }
        places
    }

    /// Takes local parts that rules name as known.
    pub(super) fn note(&mut self, code: &str) {
        let code = self.canonical(code);
        self.parts.extend(chain(&code).filter(|at| at.contains(['-', '/'])).map(Into::into));
    }

    /// The one code of a place that may bear two, for places below it too.
    pub fn canonical(&self, code: &str) -> String {
        for at in chain(code) {
            if let Some(stands_for) = self.aliases.get(at) {
                return format!("{stands_for}{}", code.strip_prefix(at).unwrap_or_default());
            }
        }
        code.to_string()
    }

    /// A stated place as it is looked at: under its one code, and without local parts that nothing on file names. Where
    /// a country's parts are named by local codes alone, a subdivision that nothing names may be any of them.
    pub fn looked_at(&self, code: &str) -> String {
        let code = self.canonical(code);
        let may_be_another = |at: &str| {
            let country = country(at).unwrap_or(at);
            self.parts.iter().any(|part| above(part) == Some(country) && part.contains('/'))
        };
        let known = chain(&code).find(|at| {
            self.parts.contains(*at) || above(at).is_none() || !at.contains('/') && !may_be_another(at)
        });
        known.unwrap_or(&code).to_string()
    }

    /// Whether any member of an area or bloc is on file.
    pub fn has_members(&self, area: &str) -> bool {
        self.members.contains_key(area)
    }

    fn members_on(&self, area: &str, day: Date) -> impl Iterator<Item = &str> {
        let members = self.members.get(area).map(Vec::as_slice).unwrap_or_default();
        members.iter().filter(move |m| m.holds_on(day)).map(|m| m.place.as_str())
    }

    /// The width with which a node, a bloc or an area contains an exact place on a day; none if it does not. An area is
    /// as wide as its narrowest member that contains the place.
    pub(super) fn contains(&self, node: &str, at: &str, day: Date) -> Option<Width> {
        if node == WORLD {
            Some(OF_WORLD)
        } else if self.members.contains_key(node) {
            let of_member =
                self.members_on(node, day).filter_map(|member| self.contains(member, at, day)).max()?;
            Some(if node.starts_with(AREA) { of_member } else { OF_BLOC })
        } else {
            chain(at).any(|up| up == node).then(|| width(node))
        }
    }

    /// The nodes of the tree that an area or a bloc comes to on a day, or the node itself.
    pub(super) fn nodes<'a>(&'a self, node: &'a str, day: Date, found: &mut BTreeSet<&'a str>) {
        if self.members.contains_key(node) {
            let members: Vec<&'a str> = self
                .members
                .get(node)
                .into_iter()
                .flatten()
                .filter(|m| m.holds_on(day))
                .map(|m| m.place.as_str())
                .collect();
            for member in members {
                self.nodes(member, day, found);
            }
        } else if node != WORLD && !node.starts_with(AREA) {
            found.insert(node);
        }
    }

    /// Whether a node, or any place that an area or a bloc comes to on a day, lies below a stated place.
    pub(super) fn reaches_below(&self, node: &str, stated: &str, day: Date) -> bool {
        match self.members.get(node) {
            Some(members) => {
                members.iter().any(|m| m.holds_on(day) && self.reaches_below(&m.place, stated, day))
            }
            None => node.strip_prefix(stated).is_some_and(|rest| rest.starts_with(['-', '/'])),
        }
    }

    /// Whether a stated place is, or is part of, or contains a node.
    fn stands_above(&self, stated: &str, node: &str, day: Date) -> bool {
        self.contains(stated, node, day).is_some()
    }

    /// The exact places that a stated one may mean, as far as rules that name these nodes can tell them apart: in a node
    /// but in none of the narrower ones, and two subdivisions of each country that no one names.
    pub(super) fn meant(&self, stated: &str, nodes: &BTreeSet<&str>, day: Date) -> BTreeSet<String> {
        let mut roots: BTreeSet<&str> = BTreeSet::new();
        let mut exact = BTreeSet::new();
        if stated == WORLD {
            exact.extend(rest("*"));
        } else {
            self.nodes(stated, day, &mut roots);
        }
        let below = nodes.iter().filter(|node| self.stands_above(stated, node, day));
        for node in roots.iter().chain(below) {
            exact.extend(rest(node));
            // somewhere in its country, where that is stated
            let up = chain(node).skip(1).filter(|up| self.stands_above(stated, up, day));
            exact.extend(up.flat_map(rest));
        }
        exact
    }

    /// The countries that a node, a bloc or an area touches on any day; `None` for all of them.
    pub(super) fn countries(&self, node: &str) -> Option<BTreeSet<String>> {
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
            && self
                .members
                .get(area)
                .is_some_and(|members| members.iter().any(|m| chain(&m.place).any(|at| at == place)))
    }

    /// Whether a place lies in a bloc, on any day.
    pub(super) fn is_bloc_of(&self, bloc: &str, place: &str) -> bool {
        !bloc.starts_with(AREA)
            && self.members.get(bloc).is_some_and(|members| members.iter().any(|m| m.place == place))
    }

    /// Memberships and further codes, as they are read.
    pub fn rows(&self) -> (impl Iterator<Item = &Member>, impl Iterator<Item = (&String, &String)>) {
        (self.members.values().flatten(), self.aliases.iter())
    }
}

/// Exact places in a node that no one names: two subdivisions of a country, of which the same may be meant twice; below
/// a subdivision the node itself stands for them.
fn rest(node: &str) -> Vec<String> {
    if node.contains(['-', '/']) {
        vec![node.into()]
    } else {
        vec![format!("{node}-*1"), format!("{node}-*2")]
    }
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
    fn areas_and_blocs_contain_with_their_widths() {
        let places = Places::new(
            vec![
                member("RA:X", "XB-N/vale", Some("2024-05-14"), None),
                member("RA:Y", "XB-N", None, None),
                member("RA:Y", "RA:X", None, None),
                member("BLOC", "XB", None, None),
                member("BLOC", "XC", None, Some("2020-01-31")),
            ],
            vec![("XD".into(), "XB-D".into())],
        );
        let now = day("2025-01-01");
        let contains = |node: &str, at: &str| places.contains(node, at, now);
        assert_eq!(contains("XB", "XB-N/vale"), Some(2));
        assert_eq!(contains("XB-N/vale", "XB-N"), None);
        assert_eq!(contains("RA:X", "XB-N/vale/farm"), Some(4));
        assert_eq!(contains("RA:Y", "XB-N/vale"), Some(4), "by its narrowest member");
        assert_eq!(contains("RA:Y", "XB-N/hill"), Some(3));
        assert_eq!(contains("RA:X", "XB-N"), None);
        assert_eq!(places.contains("RA:X", "XB-N/vale", day("2024-05-13")), None);
        assert_eq!(contains("BLOC", "XB-N"), Some(1));
        assert_eq!(contains("BLOC", "XC"), None, "it has left");
        assert_eq!(contains(WORLD, "XQ"), Some(0));
        assert_eq!(places.canonical("XD/bay"), "XB-D/bay", "below a place of two codes too");
        assert_eq!(places.looked_at("XB-N/vale"), "XB-N/vale");
        assert_eq!(places.looked_at("XB-N/veil"), "XB-N", "a part that nothing names");
        let by_name = Places::new(vec![member("RA:Z", "XC/coast", None, None)], vec![]);
        assert_eq!((by_name.looked_at("XC-S").as_str(), by_name.looked_at("XB-S").as_str()), ("XC", "XB-S"));
        assert_eq!(
            (subdivision("XB-N/vale"), subdivision("XB"), subdivision("XB/bay")),
            (Some("XB-N"), None, Some("XB/bay"))
        );
    }

    #[test]
    fn a_coarse_place_means_all_in_it_that_can_be_told_apart() {
        let places =
            Places::new(vec![member("BLOC", "XB", None, None), member("BLOC", "XC", None, None)], vec![]);
        let now = day("2025-01-01");
        let meant = |stated: &str, nodes: &[&str]| {
            places.meant(stated, &nodes.iter().copied().collect(), now).into_iter().collect::<Vec<_>>()
        };
        assert_eq!(meant("XB-N", &["XB", "XC-S"]), ["XB-N"]);
        assert_eq!(meant("XB", &["XB-N/vale", "XC-S"]), ["XB-*1", "XB-*2", "XB-N", "XB-N/vale"]);
        assert_eq!(meant("BLOC", &[]), ["XB-*1", "XB-*2", "XC-*1", "XC-*2"]);
        assert_eq!(meant(WORLD, &["XB-N"]), ["*-*1", "*-*2", "XB-*1", "XB-*2", "XB-N"]);
    }
}
