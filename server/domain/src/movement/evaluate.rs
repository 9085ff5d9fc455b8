//! Which rules apply to a movement, and what they come to.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use super::{
    Kind, OpenTo, Parts, Pest, Places, Rule, Taxa, Verdict,
    place::{Holds, Origin, country, subdivision},
};
use crate::time::Date;

/// An official paper that the giver declares, as far as it opens an exception.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Document {
    /// The rule whose exception it opens.
    pub opens: String,
    /// Until when it holds.
    pub valid_to: Option<Date>,
}

/// A movement to be looked at.
#[derive(Clone, Debug)]
pub struct Move {
    /// The plant's botanical name, or a hybrid's.
    pub taxon: String,
    /// What is moved of it.
    pub parts: Parts,
    /// Where it was grown, each place where it stood; `None` in it: not known. Empty: not known.
    pub grown_at: Vec<Option<String>>,
    /// Where it goes; of a meeting, the receiver's home too.
    pub to: Vec<String>,
    /// Places on the way.
    pub by_way_of: Vec<String>,
    /// When it leaves.
    pub dispatch: Date,
    /// When it arrives.
    pub arrival: Date,
    /// How many articles; not said where it is `None`.
    pub count: Option<u32>,
    /// Papers declared.
    pub documents: Vec<Document>,
}

/// A rule that applies.
#[derive(Clone, Debug, PartialEq)]
pub struct Applies {
    /// The rule.
    pub rule: Arc<Rule>,
    /// It holds for a part of the places as stated: a finer place would tell.
    pub unsure: bool,
    /// Its text should have been looked at again by now.
    pub stale: bool,
}

/// Leaving a place, or entering one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Leaving it.
    Leaving,
    /// Entering it.
    Entering,
    /// Within it.
    Within,
}

/// A layer of the path with nothing on file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gap {
    /// The side.
    pub side: Side,
    /// The place's code.
    pub place: String,
    /// Whom to ask, in words.
    pub ask: String,
}

/// What is on file for a movement.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// The strictest of the rules that apply.
    pub verdict: Verdict,
    /// Those that make it.
    pub lead: Vec<Applies>,
    /// Weaker ones that bind too.
    pub also: Vec<Applies>,
    /// Exceptions that are not open to this sender.
    pub could_change: Vec<Applies>,
    /// Restrictions of which the text is not on file.
    pub stubs: Vec<Applies>,
    /// Notes from memory: ask.
    pub unverified: Vec<Applies>,
    /// Versions that come into force after the day of arrival.
    pub coming: Vec<Applies>,
    /// Layers of the path with nothing on file.
    pub gaps: Vec<Gap>,
    /// Pests known to travel so.
    pub pests: Vec<Pest>,
}

impl Answer {
    /// The headline in words.
    pub fn headline(&self) -> String {
        let ask = self
            .stubs
            .first()
            .map(|s| s.rule.authority.clone())
            .or_else(|| self.gaps.iter().rev().find(|g| g.side != Side::Leaving).map(|g| g.ask.clone()))
            .unwrap_or_else(|| "the plant-health authority of both places".into());
        self.verdict.headline(&ask)
    }
}

/// Rules on file, ready to be asked.
#[derive(Clone, Debug, Default)]
pub struct Rules {
    rules: Vec<Arc<Rule>>,
    by_host: BTreeMap<String, ByDestination>,
    /// For each rule the countries that it can come from; `None` for all.
    from: Vec<Option<BTreeSet<String>>>,
    /// For each place that rules name, whom most of them name to ask.
    authorities: BTreeMap<String, String>,
    places: Places,
    taxa: Taxa,
    pests: Vec<Pest>,
}

/// Rules on one host by the country that they let in, so that few are looked at.
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
    /// Rules that can hold for one of these countries; `None` for all.
    fn of<'a>(&'a self, countries: Option<&'a BTreeSet<&'a str>>) -> Box<dyn Iterator<Item = usize> + 'a> {
        match countries {
            None => Box::new(self.any.iter().chain(self.country.values().flatten()).copied()),
            Some(countries) => {
                let named = countries.iter().filter_map(|c| self.country.get(*c)).flatten();
                Box::new(self.any.iter().chain(named).copied())
            }
        }
    }
}

/// Whom the rules on each place name most often.
fn authorities(rules: &[Arc<Rule>], places: &Places) -> BTreeMap<String, String> {
    let mut counts: BTreeMap<String, BTreeMap<&str, usize>> = BTreeMap::new();
    for rule in rules {
        let named: BTreeSet<&str> =
            rule.to.included().chain(rule.from.included()).map(|code| places.canonical(code)).collect();
        for code in named {
            *counts.entry(code.to_string()).or_default().entry(&rule.authority).or_default() += 1;
        }
    }
    let most = |counts: BTreeMap<&str, usize>| {
        counts.into_iter().max_by_key(|(_, count)| *count).map(|(who, _)| who.to_string())
    };
    counts.into_iter().filter_map(|(place, counts)| Some((place, most(counts)?))).collect()
}

/// Rules that match on a day, with how far.
type Matched = BTreeMap<usize, Holds>;

impl Rules {
    /// From what is on file.
    pub fn new(rules: Vec<Rule>, places: Places, taxa: Taxa, pests: Vec<Pest>) -> Self {
        let rules: Vec<Arc<Rule>> = rules.into_iter().map(Arc::new).collect();
        let mut by_host: BTreeMap<String, ByDestination> = BTreeMap::new();
        for (at, rule) in rules.iter().enumerate() {
            let countries = rule.to.countries(&places);
            for host in &rule.hosts {
                by_host.entry(Taxa::key(host)).or_default().add(at, countries.as_ref());
            }
        }
        let from = rules.iter().map(|rule| rule.from.countries(&places)).collect();
        let authorities = authorities(&rules, &places);
        Self { rules, by_host, from, authorities, places, taxa, pests }
    }

    /// How many versions of rules.
    pub fn len(&self) -> usize {
        self.rules.len()
    }
    /// None.
    pub fn is_empty(&self) -> bool {
        self.rules.is_empty()
    }
    /// All of them, in the order of the file.
    pub fn all(&self) -> impl Iterator<Item = &Rule> {
        self.rules.iter().map(AsRef::as_ref)
    }
    /// Areas that rules name and that have no members on file: they match nothing.
    pub fn empty_areas(&self) -> BTreeSet<&str> {
        self.rules
            .iter()
            .flat_map(|r| r.from.named().chain(r.to.named()))
            .filter(|code| code.starts_with("RA:") && !self.places.has_members(code))
            .collect()
    }

    /// The countries of places as stated; `None` where one of them is not known, or wider than a country.
    fn countries_of<'a>(
        &'a self,
        places: impl Iterator<Item = Option<&'a str>>,
    ) -> Option<BTreeSet<&'a str>> {
        places
            .map(|place| {
                let place = self.places.canonical(place?);
                if self.places.is_wide(place) { None } else { country(place) }
            })
            .collect()
    }

    fn candidates(&self, line: &BTreeSet<String>, asked: &Move) -> Vec<usize> {
        let to = self.countries_of(asked.to.iter().chain(&asked.by_way_of).map(|p| Some(p.as_str())));
        let from = if asked.grown_at.is_empty() {
            None
        } else {
            self.countries_of(asked.grown_at.iter().map(Option::as_deref))
        };
        let comes_from = |at: usize| match (self.from.get(at), &from) {
            (Some(Some(countries)), Some(from)) => from.iter().any(|c| countries.contains(*c)),
            (_, _) => true,
        };
        let mut found: Vec<usize> = line
            .iter()
            .filter_map(|host| self.by_host.get(host))
            .flat_map(|by| by.of(to.as_ref()))
            .filter(|at| comes_from(*at))
            .filter(|at| {
                self.rules.get(*at).is_some_and(|rule| {
                    rule.parts.meet(asked.parts)
                        && rule.most.zip(asked.count).is_none_or(|(most, count)| count <= most)
                })
            })
            .collect();
        found.sort_unstable();
        found.dedup();
        found
    }

    /// What matches on one of the days: the strongest over all origins and destinations.
    fn matching(&self, asked: &Move, candidates: &[usize], day: Date) -> Matched {
        let unknown = [None];
        let origins: &[Option<String>] = if asked.grown_at.is_empty() { &unknown } else { &asked.grown_at };
        let mut matched = Matched::new();
        for at in candidates {
            let Some(rule) = self.rules.get(*at).filter(|rule| rule.in_force(day)) else { continue };
            let way = if rule.on_the_way { asked.by_way_of.as_slice() } else { &[] };
            let mut best = Holds::No;
            for origin in origins {
                let origin = Origin { place: origin.as_deref(), rule_from: &rule.from };
                let from = rule.from.holds(&self.places, origin.place, &origin, day);
                if from == Holds::No {
                    continue;
                }
                for to in asked.to.iter().chain(way) {
                    let to = rule.to.holds(&self.places, Some(to), &origin, day);
                    best = best.max(from.min(to));
                }
            }
            if best != Holds::No {
                matched.insert(*at, best);
            }
        }
        matched
    }

    fn applies(&self, at: usize, holds: Holds, day: Date) -> Option<Applies> {
        let rule = self.rules.get(at)?.clone();
        let stale = rule.review_by.is_some_and(|by| by < day);
        Some(Applies { rule, unsure: holds == Holds::Partly, stale })
    }

    /// What is on file for a movement.
    pub fn ask(&self, asked: &Move) -> Answer {
        let line = self.taxa.line(&asked.taxon);
        let candidates = self.candidates(&line, asked);
        // in force on either day: the strictest of both counts
        let mut matched = self.matching(asked, &candidates, asked.dispatch);
        if asked.arrival != asked.dispatch {
            for (at, holds) in self.matching(asked, &candidates, asked.arrival) {
                let known = matched.entry(at).or_insert(holds);
                *known = (*known).max(holds);
            }
        }
        let ids: BTreeSet<&str> =
            matched.keys().filter_map(|at| self.rules.get(*at)).map(|r| r.id.as_str()).collect();
        let mut replaced: BTreeSet<String> = BTreeSet::new();
        let mut kept = Matched::new();
        let mut could_change = Vec::new();
        for (at, holds) in &matched {
            let Some(rule) = self.rules.get(*at) else { continue };
            let Some(base) = &rule.excepts else {
                kept.insert(*at, *holds);
                continue;
            };
            if rule.void_if.iter().any(|shut| ids.contains(shut.as_str())) {
                continue;
            }
            let declared = asked.documents.iter().any(|document| {
                document.opens == rule.id && document.valid_to.is_none_or(|day| day >= asked.arrival)
            });
            if rule.open_to == Some(OpenTo::Anyone) || declared {
                // what holds for a part of the place cannot take the rule away for all of it
                if *holds == Holds::Yes {
                    replaced.insert(base.clone());
                }
                kept.insert(*at, *holds);
            } else if ids.contains(base.as_str()) {
                could_change.extend(self.applies(*at, *holds, asked.dispatch));
            }
        }
        let (mut rules, mut stubs, mut unverified) = (Vec::new(), Vec::new(), Vec::new());
        for (at, holds) in kept {
            let Some(found) = self.applies(at, holds, asked.dispatch) else { continue };
            match found.rule.kind {
                Kind::Stub => stubs.push(found),
                Kind::Unverified => unverified.push(found),
                Kind::Rule if replaced.contains(&found.rule.id) => {}
                Kind::Rule => rules.push(found),
            }
        }
        let verdict = rules.iter().map(|a| a.rule.verdict).max().unwrap_or(Verdict::NoRule);
        let gaps = self.gaps(asked, &rules);
        let (lead, also) = rules.into_iter().partition(|a| a.rule.verdict == verdict);
        Answer {
            verdict,
            lead,
            also,
            could_change,
            stubs,
            unverified,
            coming: self.coming(asked, &candidates),
            gaps,
            pests: self.pests.iter().filter(|p| p.travels_with(&line, asked.parts)).cloned().collect(),
        }
    }

    /// Versions not in force yet that would apply when they are.
    fn coming(&self, asked: &Move, candidates: &[usize]) -> Vec<Applies> {
        let later: Vec<usize> = candidates
            .iter()
            .copied()
            .filter(|at| {
                self.rules.get(*at).is_some_and(|r| r.effective_from.is_some_and(|from| from > asked.arrival))
            })
            .collect();
        later
            .iter()
            .filter_map(|at| {
                let day = self.rules.get(*at)?.effective_from?;
                let holds = *self.matching(asked, &[*at], day).get(at)?;
                self.applies(*at, holds, asked.dispatch)
            })
            .collect()
    }

    /// The layers of the path on which no rule applies: leaving and entering countries, leaving and entering their
    /// parts.
    fn gaps(&self, asked: &Move, rules: &[Applies]) -> Vec<Gap> {
        let mut gaps = BTreeSet::new();
        let entering = |place: &str| {
            rules.iter().any(|a| a.rule.to.included().any(|code| self.is_of_layer(code, place)))
        };
        let leaving = |place: &str| {
            rules.iter().any(|a| a.rule.from.included().any(|code| self.is_of_layer(code, place)))
        };
        for to in &asked.to {
            let to = self.places.canonical(to);
            for from in &asked.grown_at {
                let from = from.as_deref().map(|code| self.places.canonical(code));
                let abroad = from.and_then(country) != country(to);
                let mut layers: Vec<(Side, Option<&str>)> = Vec::new();
                if abroad {
                    layers.push((Side::Leaving, from.and_then(country)));
                    layers.push((Side::Entering, country(to)));
                } else {
                    layers.push((Side::Within, country(to)));
                }
                if abroad || from.and_then(subdivision) != subdivision(to) {
                    layers.push((Side::Leaving, from.and_then(subdivision)));
                    layers.push((Side::Entering, subdivision(to)));
                } else {
                    layers.push((Side::Within, subdivision(to)));
                }
                for (side, place) in layers {
                    let Some(place) = place else { continue };
                    let known = match side {
                        Side::Leaving => leaving(place),
                        Side::Entering => entering(place),
                        Side::Within => leaving(place) && entering(place),
                    };
                    if !known {
                        gaps.insert(Gap { side, place: place.into(), ask: self.whom_to_ask(place) });
                    }
                }
            }
        }
        gaps.into_iter().collect()
    }

    /// Whether a code that a rule names belongs to the layer of a place: the place itself, a bloc that it is in, or an
    /// area whose members lie in it.
    fn is_of_layer(&self, code: &str, place: &str) -> bool {
        let code = self.places.canonical(code);
        code == place || self.places.is_area_within(code, place) || self.places.is_bloc_of(code, place)
    }

    /// The authority that rules on a place name; in general words where none does.
    fn whom_to_ask(&self, place: &str) -> String {
        let known = self.authorities.get(place);
        known.cloned().unwrap_or_else(|| format!("the plant-health authority of {place}"))
    }
}
