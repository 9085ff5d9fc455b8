//! Indexed rules on file, and the layers of a path about which they say nothing.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::{
    Applies, Authorities, Parts, Pest, Places, Rule, Side, Taxa, WORLD,
    place::{AREA, Holds, country, subdivision},
    taxon::Line,
};
use crate::time::Date;

/// An official document that the giver declares, reduced to the exception that it opens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Document {
    /// Id of the exception rule that the document opens.
    pub opens: String,
    /// Last day on which the document is valid; `None` means no end date.
    pub valid_to: Option<Date>,
}

/// A movement to evaluate.
#[derive(Clone, Debug)]
pub struct Move {
    /// Plants as [`Taxa::read`] returned them: one, the parents of a hybrid, or a rootstock with its scion.
    pub plants: Vec<String>,
    /// Parts of the plants that move.
    pub parts: Parts,
    /// Places where the plant was grown. `None` in the list, or an empty list, means unknown.
    pub grown_at: Vec<Option<String>>,
    /// Destinations; for a meeting also the receiver's home.
    pub to: Vec<String>,
    /// Transit places.
    pub by_way_of: Vec<String>,
    /// Day of dispatch.
    pub dispatch: Date,
    /// Day of arrival.
    pub arrival: Date,
    /// Number of articles; `None` if not stated.
    pub count: Option<u32>,
    /// Declared documents.
    pub documents: Vec<Document>,
}

impl Move {
    /// Returns the distinct origins as they are evaluated; one unknown origin if none is stated.
    pub(super) fn origins(&self, places: &Places) -> Vec<Option<String>> {
        let mut origins: Vec<Option<String>> = Vec::new();
        for code in &self.grown_at {
            let origin = code.as_ref().map(|code| places.looked_at(code));
            if !origins.contains(&origin) {
                origins.push(origin);
            }
        }
        if origins.is_empty() { vec![None] } else { origins }
    }
}

/// A layer of the path with nothing on file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gap {
    /// Side of the movement.
    pub side: Side,
    /// Place code; empty for an unknown origin.
    pub place: String,
    /// Authority to ask, in words.
    pub ask: String,
}

/// Everything read from the rules files, before indexing.
#[derive(Clone, Debug, Default)]
pub struct OnFile {
    /// Rule versions, in file order.
    pub rules: Vec<Rule>,
    /// Areas, blocs and aliases of places.
    pub places: Places,
    /// Table of plant names.
    pub taxa: Taxa,
    /// Pests that travel with plants.
    pub pests: Vec<Pest>,
    /// Authorities by place.
    pub authorities: Authorities,
}

/// Rules on file, indexed by host and destination country.
#[derive(Clone, Debug, Default)]
pub struct Rules {
    pub(super) rules: Vec<Arc<Rule>>,
    by_host: BTreeMap<String, ByDestination>,
    /// For each name, the rule hosts that lie below it.
    below: BTreeMap<String, Vec<String>>,
    /// For each rule, the countries that its `from` can hold in; `None` means all.
    from: Vec<Option<BTreeSet<String>>>,
    /// Indices of rules that name an area without members.
    pub(super) hollow: Vec<usize>,
    pub(super) authorities: Authorities,
    pub(super) places: Places,
    pub(super) taxa: Taxa,
    pub(super) pests: Vec<Pest>,
}

/// Indices of the rules on one host by destination country, so that a question reads few rules.
#[derive(Clone, Debug, Default)]
struct ByDestination {
    country: BTreeMap<String, Vec<usize>>,
    any: Vec<usize>,
}

impl ByDestination {
    fn add(&mut self, at: usize, countries: Option<&BTreeSet<String>>) {
        match countries {
            None => self.any.push(at),
            Some(countries) => {
                for country in countries {
                    self.country.entry(country.clone()).or_default().push(at);
                }
            }
        }
    }
    /// Returns the rules that can hold for one of these destination countries; `None` means all countries.
    fn of<'a>(&'a self, countries: Option<&'a Countries<'a>>) -> Box<dyn Iterator<Item = usize> + 'a> {
        match countries {
            None => Box::new(self.any.iter().chain(self.country.values().flatten()).copied()),
            Some(countries) => {
                let named = countries.iter().filter_map(|c| self.country.get(*c)).flatten();
                Box::new(self.any.iter().chain(named).copied())
            }
        }
    }
}

/// Countries of the stated places.
pub(super) type Countries<'a> = BTreeSet<&'a str>;

impl Rules {
    /// Indexes the rules and translates all place codes to canonical ones.
    pub fn new(on_file: OnFile) -> Self {
        let OnFile { rules, mut places, mut taxa, pests, authorities } = on_file;
        for rule in &rules {
            rule.from.named().chain(rule.to.named()).for_each(|code| places.note(code));
        }
        taxa.and_hosts(rules.iter().flat_map(|rule| &rule.hosts));
        let rules: Vec<Arc<Rule>> = rules
            .into_iter()
            .map(|rule| {
                let (from, to) = (rule.from.canonical(&places), rule.to.canonical(&places));
                Arc::new(Rule { from, to, ..rule })
            })
            .collect();
        let mut by_host: BTreeMap<String, ByDestination> = BTreeMap::new();
        for (at, rule) in rules.iter().enumerate() {
            let countries = rule.to.countries(&places);
            for host in &rule.hosts {
                by_host.entry(Taxa::key(host)).or_default().add(at, countries.as_ref());
            }
        }
        let mut below: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for host in by_host.keys() {
            for above in taxa.up(host) {
                below.entry(above).or_default().push(host.clone());
            }
        }
        let from = rules.iter().map(|rule| rule.from.countries(&places)).collect();
        let is_hollow = |code: &str| code.starts_with(AREA) && !places.has_members(code);
        let hollow = rules
            .iter()
            .enumerate()
            .filter(|(_, rule)| rule.from.named().chain(rule.to.named()).any(is_hollow))
            .map(|(at, _)| at)
            .collect();
        Self { rules, by_host, below, from, hollow, authorities, places, taxa, pests }
    }

    /// Returns the number of rule versions.
    pub fn len(&self) -> usize {
        self.rules.len()
    }
    /// Returns true if no rule is on file.
    pub fn is_empty(&self) -> bool {
        self.rules.is_empty()
    }
    /// Returns all rule versions, in file order.
    pub fn all(&self) -> impl Iterator<Item = &Rule> {
        self.rules.iter().map(AsRef::as_ref)
    }
    /// Returns the places against which questions are evaluated.
    pub fn places(&self) -> &Places {
        &self.places
    }
    /// Returns the plant names against which questions are evaluated.
    pub fn taxa(&self) -> &Taxa {
        &self.taxa
    }
    /// Returns the table of authorities.
    pub fn authorities(&self) -> &Authorities {
        &self.authorities
    }
    /// Returns areas that rules name but that have no members on file; they match nothing.
    pub fn empty_areas(&self) -> BTreeSet<&str> {
        self.hollow
            .iter()
            .filter_map(|at| self.rules.get(*at))
            .flat_map(|r| r.from.named().chain(r.to.named()))
            .filter(|code| code.starts_with(AREA) && !self.places.has_members(code))
            .collect()
    }

    /// Returns rules on a plant for these destination countries. Rules on the plant or a name above it hold
    /// with [`Holds::Yes`]; rules on names below it hold with [`Holds::Partly`].
    pub(super) fn on_host(&self, line: &Line, to: Option<&Countries<'_>>) -> BTreeMap<usize, Holds> {
        let below = self.below.get(&line.name).into_iter().flatten();
        let mut found = BTreeMap::new();
        let partly = below.map(|host| (host.as_str(), Holds::Partly));
        for (host, holds) in partly.chain(line.names().map(|host| (host, Holds::Yes))) {
            if let Some(by) = self.by_host.get(host) {
                found.extend(by.of(to).map(|at| (at, holds)));
            }
        }
        found
    }

    /// Returns the countries of stated places; `None` if one is unknown or wider than a country.
    pub(super) fn countries_of<'a>(
        &self,
        places: impl Iterator<Item = Option<&'a str>>,
    ) -> Option<Countries<'a>> {
        places
            .map(|place| {
                let place = place?;
                if self.places.is_wide(place) { None } else { country(place) }
            })
            .collect()
    }

    /// Filters the rules on these hosts to those on one of the parts and from one of the origins, on any day.
    pub(super) fn candidates(
        &self,
        hosts: &[BTreeMap<usize, Holds>],
        origins: &[Option<String>],
        parts: Parts,
    ) -> Vec<usize> {
        let from = self.countries_of(origins.iter().map(Option::as_deref));
        let comes_from = |at: &usize| match (self.from.get(*at), &from) {
            (Some(Some(countries)), Some(from)) => from.iter().any(|c| countries.contains(*c)),
            (_, _) => true,
        };
        let mut found: Vec<usize> = hosts
            .iter()
            .flat_map(BTreeMap::keys)
            .copied()
            .filter(comes_from)
            .filter(|at| self.rules.get(*at).is_some_and(|rule| rule.parts.meet(parts)))
            .collect();
        found.sort_unstable();
        found.dedup();
        found
    }

    /// Returns the layers of the path on which no rule applies: countries and subdivisions left, entered or
    /// moved within, and an unknown origin.
    pub(super) fn gaps(
        &self,
        (origins, to): (&[Option<String>], &[String]),
        rules: &[Applies],
        day: Date,
    ) -> Vec<Gap> {
        let mut gaps = BTreeSet::new();
        let entering = |place: &str| {
            rules.iter().any(|a| a.rule.to.included().any(|code| self.is_of_layer(code, place)))
        };
        let leaving = |place: &str| {
            rules.iter().any(|a| a.rule.from.included().any(|code| self.is_of_layer(code, place)))
        };
        for to in to {
            for from in origins {
                let from = from.as_deref();
                let mut layers: Vec<(Side, Option<&str>)> = Vec::new();
                if from.and_then(country) == country(to) {
                    layers.push((Side::Within, country(to)));
                } else {
                    layers.push((Side::Leaving, from.and_then(country)));
                    layers.push((Side::Entering, country(to)));
                }
                if from.and_then(subdivision) == subdivision(to) && from.and_then(country) == country(to) {
                    layers.push((Side::Within, subdivision(to)));
                } else {
                    layers.push((Side::Leaving, from.and_then(subdivision)));
                    layers.push((Side::Entering, subdivision(to)));
                }
                for (side, place) in layers {
                    let Some(place) = place.filter(|place| *place != WORLD) else { continue };
                    let known = match side {
                        Side::Leaving => leaving(place),
                        Side::Entering => entering(place),
                        Side::Within => leaving(place) && entering(place),
                    };
                    if !known {
                        let ask = self.authorities.ask(&self.places, place, side, day);
                        gaps.insert(Gap { side, place: place.into(), ask });
                    }
                }
                if from.is_none() {
                    let ask = "the person who knows where it was grown, and the plant-health authority of that place";
                    gaps.insert(Gap { side: Side::Leaving, place: String::new(), ask: ask.into() });
                }
            }
        }
        gaps.into_iter().collect()
    }

    /// Returns true if a code in a rule belongs to the layer of a place: the place itself, a bloc with the
    /// place as a member, or an area with members in the place.
    fn is_of_layer(&self, code: &str, place: &str) -> bool {
        code == place || self.places.is_area_within(code, place) || self.places.is_bloc_of(code, place)
    }
}
