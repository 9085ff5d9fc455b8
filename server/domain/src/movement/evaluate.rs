//! Decides which rules apply to a movement, and combines them into an answer.
//!
//! A question is a product of atoms: one origin, one destination, one part, one day, one parent taxon. An
//! exception works within its atom and never reaches another. The strictest atom sets the headline. Atoms with
//! nothing on file are listed next to it.

use std::{collections::BTreeMap, sync::Arc};

use super::{
    Gap, Kind, Move, OpenTo, Part, Pest, Rule, Rules, Side, Taxa, Verdict, WORLD, expression, place::Holds,
    taxon::Line,
};
use crate::time::Date;

/// A rule that applies, with how certainly and how currently.
#[derive(Clone, Debug, PartialEq)]
pub struct Applies {
    /// The rule version.
    pub rule: Arc<Rule>,
    /// The rule holds for only part of what was stated; a finer place, plant or count would decide.
    pub unsure: bool,
    /// The review date of the rule's text is before the dispatch day.
    pub stale: bool,
}

/// One part of the movement, evaluated alone.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Atom {
    /// Part of the plant.
    pub part: Part,
    /// Place where the plant was grown; `None` if unknown.
    pub from: Option<String>,
    /// Destination.
    pub to: String,
    /// Plant, in lower case as rules name it.
    pub plant: String,
    /// Strictest verdict of the rules that apply to this atom.
    pub verdict: Verdict,
    /// True when no rule holds for all of what was stated: some of the atom may have no rule.
    pub open: bool,
}

/// What the rules on file say about a movement.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// Strictest verdict over all atoms.
    pub verdict: Verdict,
    /// Result of each part of the movement on the dispatch and arrival days, without duplicates.
    pub atoms: Vec<Atom>,
    /// Rules that set the headline verdict.
    pub lead: Vec<Applies>,
    /// Rules with a weaker verdict that apply too.
    pub also: Vec<Applies>,
    /// Exceptions that would apply, but that are not open to this sender.
    pub could_change: Vec<Applies>,
    /// Known restrictions whose text is not on file.
    pub stubs: Vec<Applies>,
    /// Rules known from memory only; they do not change the verdict.
    pub unverified: Vec<Applies>,
    /// Rule versions that come into force after the arrival day.
    pub coming: Vec<Applies>,
    /// Layers of the path (country, subdivision) with nothing on file.
    pub gaps: Vec<Gap>,
    /// Rules that name an area with no members on file; they could not be evaluated.
    pub hollow: Vec<Applies>,
    /// Stated places that nothing on file names, each with the wider place used instead.
    pub counted_as: Vec<(String, String)>,
    /// Plants in no table; only rules on any plant were evaluated for them.
    pub unlisted: Vec<String>,
    /// Pests known to travel with these plants and parts.
    pub pests: Vec<Pest>,
    /// Name of the destination's authority to ask.
    pub ask: String,
}

impl Answer {
    /// Returns the atoms with nothing on file. An answer with such atoms is incomplete, even if others have a
    /// verdict.
    pub fn open(&self) -> impl Iterator<Item = &Atom> {
        self.atoms.iter().filter(|atom| atom.open)
    }

    /// Returns the headline in words, with the first open atom and the authority to ask.
    pub fn headline(&self) -> String {
        let ask = self.stubs.first().map_or(&self.ask, |stub| &stub.rule.authority);
        let headline = self.verdict.headline(ask);
        let mut open: Vec<String> = self
            .open()
            .map(|atom| {
                let from = atom.from.as_deref().unwrap_or("a place that is not known");
                format!("{} from {from}", atom.part.label())
            })
            .collect();
        open.dedup();
        match (self.verdict, open.split_first()) {
            // A prohibition of one part already stops the whole movement, so open atoms do not change the headline.
            (Verdict::NoRule | Verdict::Prohibited, _) | (_, None) => headline,
            (_, Some((first, others))) => {
                let others = match others.len() {
                    0 => String::new(),
                    more => format!(" and {more} more"),
                };
                format!("{headline}; no rule on file for {first}{others}: ask {}", self.ask)
            }
        }
    }
}

/// Rules that match on one day between two places: index, rule, and how far each holds.
type Matched<'a> = Vec<(usize, &'a Rule, Holds)>;

/// Rules found over all atoms, by rule index; where atoms differ, the most certain value wins.
#[derive(Debug, Default)]
struct Found {
    rules: BTreeMap<usize, Holds>,
    stubs: BTreeMap<usize, Holds>,
    unverified: BTreeMap<usize, Holds>,
    could_change: BTreeMap<usize, Holds>,
}

fn surest(list: &mut BTreeMap<usize, Holds>, at: usize, holds: Holds) {
    let known = list.entry(at).or_insert(holds);
    *known = (*known).max(holds);
}

impl Found {
    /// Evaluates one atom. Returns its verdict, and true if no rule certainly holds in it.
    fn look_at(&mut self, matched: &Matched<'_>, asked: &Move) -> (Verdict, bool) {
        let holds = |id: &str| matched.iter().filter(|(_, rule, _)| rule.id == id).map(|(_, _, h)| *h).max();
        let mut replaced: Vec<&str> = Vec::new();
        let mut kept: Vec<(usize, &Rule, Holds)> = Vec::new();
        for (at, rule, how) in matched {
            let Some(base) = &rule.excepts else {
                kept.push((*at, rule, *how));
                continue;
            };
            let declared = asked.documents.iter().any(|document| {
                document.opens == rule.id && document.valid_to.is_none_or(|day| day >= asked.arrival)
            });
            if rule.open_to != Some(OpenTo::Anyone) && !declared {
                if holds(base).is_some() {
                    surest(&mut self.could_change, *at, *how);
                }
                continue;
            }
            let shut = rule.void_if.iter().filter_map(|shut| holds(shut)).max().unwrap_or(Holds::No);
            // An exception that may be void holds partly at most, so it does not replace its base rule.
            let how = match shut {
                Holds::Yes => continue,
                Holds::Partly => Holds::Partly,
                Holds::No => *how,
            };
            if how == Holds::Yes && rule.kind == Kind::Rule {
                replaced.push(base);
            }
            kept.push((*at, rule, how));
        }
        let (mut verdict, mut open) = (Verdict::NoRule, true);
        for (at, rule, how) in kept {
            if replaced.contains(&rule.id.as_str()) {
                continue;
            }
            match rule.kind {
                Kind::Stub => surest(&mut self.stubs, at, how),
                Kind::Unverified => surest(&mut self.unverified, at, how),
                Kind::Rule => {
                    verdict = verdict.max(rule.verdict);
                    open &= how != Holds::Yes || rule.verdict == Verdict::NoRule;
                    surest(&mut self.rules, at, how);
                }
            }
        }
        (verdict, open)
    }
}

impl Rules {
    /// Evaluates a movement against all rules on file.
    pub fn ask(&self, asked: &Move) -> Answer {
        let lines: Vec<Line> = asked.plants.iter().flat_map(|plant| self.taxa.lines(plant)).collect();
        let origins = asked.origins(&self.places);
        let to: Vec<String> = asked.to.iter().map(|code| self.places.looked_at(code)).collect();
        let ways: Vec<String> = asked.by_way_of.iter().map(|code| self.places.looked_at(code)).collect();
        let countries = self.countries_of(to.iter().chain(&ways).map(|place| Some(place.as_str())));
        let hosts: Vec<BTreeMap<usize, Holds>> =
            lines.iter().map(|line| self.on_host(line, countries.as_ref())).collect();
        let candidates = self.candidates(&hosts, &origins, asked.parts);
        let mut days = vec![asked.dispatch, asked.arrival];
        days.dedup();
        let mut found = Found::default();
        let mut atoms = Vec::new();
        for origin in &origins {
            for destination in &to {
                for day in &days {
                    let between = (origin.as_deref(), destination.as_str(), ways.as_slice());
                    let matched = self.matching(&candidates, between, asked, *day);
                    for (line, host) in lines.iter().zip(&hosts) {
                        for part in asked.parts.each() {
                            let of_atom: Matched<'_> = matched
                                .iter()
                                .filter(|(_, rule, _)| rule.parts.has(part))
                                .filter_map(|(at, rule, how)| Some((*at, *rule, (*how).min(*host.get(at)?))))
                                .collect();
                            let (verdict, open) = found.look_at(&of_atom, asked);
                            let (from, to) = (origin.clone(), destination.clone());
                            atoms.push(Atom { part, from, to, plant: line.name.clone(), verdict, open });
                        }
                    }
                }
            }
        }
        atoms.sort();
        atoms.dedup();
        let verdict = atoms.iter().map(|atom| atom.verdict).max().unwrap_or(Verdict::NoRule);
        let all = |list: &BTreeMap<usize, Holds>| -> Vec<Applies> {
            list.iter().filter_map(|(at, holds)| self.applies(*at, *holds, asked.dispatch)).collect()
        };
        let rules = all(&found.rules);
        let gaps = self.gaps((&origins, &to), &rules, asked.arrival);
        let (lead, also) = rules.into_iter().partition(|a| a.rule.verdict == verdict);
        let stated = asked.grown_at.iter().flatten().chain(&asked.to).chain(&asked.by_way_of);
        let mut counted_as: Vec<(String, String)> = stated
            .map(|code| (code.clone(), self.places.looked_at(code)))
            .filter(|(code, counted)| self.places.canonical(code) != *counted)
            .collect();
        counted_as.dedup();
        let pests =
            self.pests.iter().filter(|pest| lines.iter().any(|line| pest.travels_with(line, asked.parts)));
        Answer {
            verdict,
            lead,
            also,
            could_change: all(&found.could_change),
            stubs: all(&found.stubs),
            unverified: all(&found.unverified),
            coming: self.coming(asked, &candidates, (&origins, &to, &ways)),
            hollow: self.hollow(asked, &lines),
            counted_as,
            unlisted: lines.iter().filter(|line| line.is_unlisted()).map(|line| line.name.clone()).collect(),
            pests: pests.cloned().collect(),
            ask: self.whom_to_ask(origins.first().and_then(|o| o.as_deref()), to.first(), asked.arrival),
            gaps,
            atoms,
        }
    }

    /// Returns the rules that match on a day between an origin and a destination, for any plant.
    fn matching<'a>(
        &'a self,
        candidates: &[usize],
        (origin, destination, ways): (Option<&str>, &str, &[String]),
        asked: &Move,
        day: Date,
    ) -> Matched<'a> {
        let mut matched = Vec::new();
        for at in candidates {
            let Some(rule) = self.rules.get(*at).filter(|rule| rule.in_force(day)) else { continue };
            let enough = match (rule.most, asked.count) {
                (Some(most), Some(count)) if count > most => Holds::No,
                (Some(_), None) => Holds::Partly,
                (_, _) => Holds::Yes,
            };
            let ways = if rule.on_the_way { ways } else { &[] };
            let places = std::iter::once(destination)
                .chain(ways.iter().map(String::as_str))
                .map(|to| {
                    let stated = (origin.unwrap_or(WORLD), to);
                    expression::between((&rule.from, &rule.to), &self.places, stated, day)
                })
                .max();
            let holds = enough.min(places.unwrap_or(Holds::No));
            if holds != Holds::No {
                matched.push((*at, rule.as_ref(), holds));
            }
        }
        matched
    }

    fn applies(&self, at: usize, holds: Holds, day: Date) -> Option<Applies> {
        let rule = self.rules.get(at)?.clone();
        let stale = rule.review_by.is_some_and(|by| by < day);
        Some(Applies { rule, unsure: holds == Holds::Partly, stale })
    }

    /// Returns rule versions that are not in force yet and would apply once they are.
    fn coming(
        &self,
        asked: &Move,
        candidates: &[usize],
        (origins, to, ways): (&[Option<String>], &[String], &[String]),
    ) -> Vec<Applies> {
        let mut later = BTreeMap::new();
        for at in candidates {
            let Some(day) = self.rules.get(*at).and_then(|rule| rule.effective_from) else { continue };
            if day <= asked.arrival {
                continue;
            }
            for origin in origins {
                for destination in to {
                    let between = (origin.as_deref(), destination.as_str(), ways);
                    for (at, _, holds) in self.matching(&[*at], between, asked, day) {
                        surest(&mut later, at, holds);
                    }
                }
            }
        }
        later.iter().filter_map(|(at, holds)| self.applies(*at, *holds, asked.dispatch)).collect()
    }

    /// Returns rules on these plants that name an area with no members on file.
    fn hollow(&self, asked: &Move, lines: &[Line]) -> Vec<Applies> {
        let on_host = |host: &String| lines.iter().any(|line| line.lies_in(&Taxa::key(host)));
        let fits = |rule: &Rule| {
            rule.parts.meet(asked.parts) && rule.in_force(asked.arrival) && rule.hosts.iter().any(on_host)
        };
        self.hollow
            .iter()
            .filter(|at| self.rules.get(**at).is_some_and(|rule| fits(rule)))
            .filter_map(|at| self.applies(*at, Holds::Partly, asked.dispatch))
            .collect()
    }

    /// Returns the authority to ask first: the destination country's; within one country, the destination
    /// subdivision's.
    fn whom_to_ask(&self, from: Option<&str>, to: Option<&String>, day: Date) -> String {
        use super::place::{country, subdivision};
        let Some(to) = to else { return "the plant-health authority of both places".into() };
        let abroad = from.and_then(country) != country(to);
        let inside = from.and_then(subdivision) == subdivision(to);
        let (place, side) = match (abroad, inside) {
            (true, _) => (country(to).unwrap_or(to), Side::Entering),
            (false, true) => (subdivision(to).unwrap_or(to), Side::Within),
            (false, false) => (subdivision(to).unwrap_or(to), Side::Entering),
        };
        self.authorities.ask(&self.places, place, side, day)
    }
}
