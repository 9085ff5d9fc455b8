//! Places that movement rules name: a tree of codes (world, blocs, ISO 3166 countries and subdivisions, local
//! parts below them), and regulated areas across the tree, whose membership changes by date.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::time::Date;

/// Code of the whole world.
pub const WORLD: &str = "WORLD";
/// Prefix of the codes of regulated areas.
pub(super) const AREA: &str = "RA:";

/// How far a statement holds for what was stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Holds {
    /// Does not hold.
    No,
    /// Holds for only part: what was stated is too coarse to decide.
    Partly,
    /// Holds for all.
    Yes,
}

/// Width of a place: 0 world, 1 bloc, 2 country, 3 subdivision, and one more per local part. Larger is narrower.
pub(super) type Width = usize;
pub(super) const OF_WORLD: Width = 0;
pub(super) const OF_BLOC: Width = 1;
pub(super) const OF_SUBDIVISION: Width = 3;

/// Returns the place directly above a code in the tree, ignoring blocs: `US-TX/zapata`, then `US-TX`, then `US`.
fn above(code: &str) -> Option<&str> {
    if let Some((parent, _)) = code.rsplit_once('/') {
        return Some(parent);
    }
    code.split_once('-').map(|(country, _)| country)
}

/// Returns a code and all codes above it, without blocs and the world.
pub(super) fn chain(code: &str) -> impl Iterator<Item = &str> {
    std::iter::successors(Some(code), |at| above(at))
}

/// Returns the subdivision of a code: `US-TX` for `US-TX/zapata`, none for `US`. A local part directly below a
/// country is its own subdivision.
pub(super) fn subdivision(code: &str) -> Option<&str> {
    chain(code).filter(|at| above(at).is_some()).last()
}

/// Returns the country of a code.
pub(super) fn country(code: &str) -> Option<&str> {
    chain(code).last()
}

fn width(code: &str) -> Width {
    // A country has width 2; a local part is narrower than any subdivision.
    let local = code.matches('/').count();
    let base = if local > 0 || code.contains('-') { OF_SUBDIVISION } else { OF_BLOC + 1 };
    base + local
}

/// One membership of a place in a regulated area or bloc.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Member {
    /// Code of the area or bloc.
    pub area: String,
    /// Code of the member place.
    pub place: String,
    /// First day of membership; `None` means since always.
    pub from: Option<Date>,
    /// Last day of membership; `None` means that it continues.
    pub to: Option<Date>,
    /// Citation of the source.
    pub citation: String,
}

impl Member {
    fn holds_on(&self, day: Date) -> bool {
        self.from.is_none_or(|from| from <= day) && self.to.is_none_or(|to| day <= to)
    }
}

/// Areas and blocs with their members, and aliases of places with two codes.
#[derive(Clone, Debug, Default)]
pub struct Places {
    members: BTreeMap<String, Vec<Member>>,
    aliases: BTreeMap<String, String>,
    /// Subdivisions and local parts named by anything on file, with all places above them.
    parts: BTreeSet<String>,
}

impl Places {
    /// Builds the places from memberships and from pairs of an alias and its canonical code.
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

    /// Records the subdivisions and local parts of a code that a rule names.
    pub(super) fn note(&mut self, code: &str) {
        let code = self.canonical(code);
        self.parts.extend(chain(&code).filter(|at| at.contains(['-', '/'])).map(Into::into));
    }

    /// Returns the canonical code of a place that may have two; places below an alias are translated too.
    pub fn canonical(&self, code: &str) -> String {
        for at in chain(code) {
            if let Some(stands_for) = self.aliases.get(at) {
                return format!("{stands_for}{}", code.strip_prefix(at).unwrap_or_default());
            }
        }
        code.to_string()
    }

    /// Returns the place at which a stated one is evaluated: canonical, and without local parts that nothing on
    /// file names. If a country's parts are named by local codes only, an unnamed subdivision may be any of
    /// them, so the country itself is returned.
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

    /// Returns true if any member of an area or bloc is on file.
    pub fn has_members(&self, area: &str) -> bool {
        self.members.contains_key(area)
    }

    fn members_on(&self, area: &str, day: Date) -> impl Iterator<Item = &str> {
        let members = self.members.get(area).map(Vec::as_slice).unwrap_or_default();
        members.iter().filter(move |m| m.holds_on(day)).map(|m| m.place.as_str())
    }

    /// Returns the width at which a node, bloc or area contains an exact place on a day, or `None`. An area is
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

    /// Adds the tree nodes of an area or bloc on a day to `found`; a plain node adds itself.
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

    /// Returns true if a node, or any member of an area or bloc on a day, lies below a stated place.
    pub(super) fn reaches_below(&self, node: &str, stated: &str, day: Date) -> bool {
        match self.members.get(node) {
            Some(members) => {
                members.iter().any(|m| m.holds_on(day) && self.reaches_below(&m.place, stated, day))
            }
            None => node.strip_prefix(stated).is_some_and(|rest| rest.starts_with(['-', '/'])),
        }
    }

    /// Returns true if a stated place is the node or contains it.
    fn stands_above(&self, stated: &str, node: &str, day: Date) -> bool {
        self.contains(stated, node, day).is_some()
    }

    /// Returns the exact places that a stated one may mean, as far as rules on these nodes can tell them apart:
    /// one place in each node outside the narrower nodes, and two unnamed subdivisions of each country.
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
            // The place may also be elsewhere in a stated wider node.
            let up = chain(node).skip(1).filter(|up| self.stands_above(stated, up, day));
            exact.extend(up.flat_map(rest));
        }
        exact
    }

    /// Returns the countries that a node, bloc or area touches on any day; `None` means all countries.
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
            // An area without members matches nothing.
            None if node.starts_with(AREA) => Some(BTreeSet::new()),
            None => Some(country(node).map(Into::into).into_iter().collect()),
        }
    }

    /// Returns true if a stated place is the world, a bloc or an area; its country is then undefined.
    pub(super) fn is_wide(&self, place: &str) -> bool {
        place == WORLD || self.members.contains_key(place)
    }

    /// Returns true if an area has members that lie in a place.
    pub(super) fn is_area_within(&self, area: &str, place: &str) -> bool {
        area.starts_with(AREA)
            && self
                .members
                .get(area)
                .is_some_and(|members| members.iter().any(|m| chain(&m.place).any(|at| at == place)))
    }

    /// Returns true if a place is a member of a bloc on any day.
    pub(super) fn is_bloc_of(&self, bloc: &str, place: &str) -> bool {
        !bloc.starts_with(AREA)
            && self.members.get(bloc).is_some_and(|members| members.iter().any(|m| m.place == place))
    }

    /// Returns all memberships and all alias pairs.
    pub fn rows(&self) -> (impl Iterator<Item = &Member>, impl Iterator<Item = (&String, &String)>) {
        (self.members.values().flatten(), self.aliases.iter())
    }
}

/// Returns stand-ins for unnamed exact places in a node: two subdivisions of a country, so that origin and
/// destination can share one or differ. Below a country the node itself stands in.
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
