//! Which rules apply to a movement, and what they come to.
//!
//! A question is a product of atoms: one place where it stood, one destination, one part, one day, one parent taxon.
//! Exceptions are applied within an atom and never reach another; the strictest atom makes the headline, and an atom
//! with nothing on file is listed beside it.

use std::{collections::BTreeMap, sync::Arc};

use super::{
    Gap, Kind, Move, OpenTo, Part, Pest, Rule, Rules, Side, Taxa, Verdict, WORLD, expression, place::Holds,
    taxon::Line,
};
use crate::time::Date;

/// A rule that applies.
#[derive(Clone, Debug, PartialEq)]
pub struct Applies {
    /// The rule.
    pub rule: Arc<Rule>,
    /// It holds for a part of what was stated: a finer place, plant or count would tell.
    pub unsure: bool,
    /// Its text should have been looked at again by now.
    pub stale: bool,
}

/// A part of the movement, looked at alone.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Atom {
    /// The part of the plant.
    pub part: Part,
    /// Where it stood; not known where it is `None`.
    pub from: Option<String>,
    /// Where it goes.
    pub to: String,
    /// The plant, in small letters as rules name it.
    pub plant: String,
    /// The strictest of what applies to it.
    pub verdict: Verdict,
    /// Nothing on file holds for all of what was stated: for some of it there may be no rule.
    pub open: bool,
}

/// What is on file for a movement.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// The strictest of the rules that apply.
    pub verdict: Verdict,
    /// What each part of the movement comes to, on either day; each once.
    pub atoms: Vec<Atom>,
    /// Rules that make the verdict.
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
    /// Rules that name an area of which no place is on file: they could not be looked at.
    pub hollow: Vec<Applies>,
    /// Places as stated that nothing on file names, each with the place that it was counted as.
    pub counted_as: Vec<(String, String)>,
    /// Plants in no table: only rules on any plant were looked at.
    pub unlisted: Vec<String>,
    /// Pests known to travel so.
    pub pests: Vec<Pest>,
    /// Whom to ask of the destination.
    pub ask: String,
}

impl Answer {
    /// Parts of the movement with nothing on file: that is no answer, whatever the others come to.
    pub fn open(&self) -> impl Iterator<Item = &Atom> {
        self.atoms.iter().filter(|atom| atom.open)
    }

    /// The headline in words.
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
            // what is prohibited stays where it is, whatever the other parts come to
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

/// Rules that match on a day between two places, with how far.
type Matched<'a> = Vec<(usize, &'a Rule, Holds)>;

/// What applies over all atoms: the surest counts.
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
    /// Looks at one atom; its verdict, and whether nothing holds surely in it.
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
            // what may be shut holds for a part of what was stated at most, and so takes no rule away
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
    /// What is on file for a movement.
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

    /// What matches on a day between an origin and a destination, whatever the plant.
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

    /// Versions not in force yet that would apply when they are.
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

    /// Rules on the plant that name an area of which no place is on file.
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

    /// Whom to ask first: those who let it in; within one place, that place's.
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
