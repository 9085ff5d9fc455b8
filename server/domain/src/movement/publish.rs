//! Checks a set of rules before publication.

use std::collections::BTreeMap;

use super::{Kind, Rule, Verdict};
use crate::time::Date;

/// Maximum length of a chain of exceptions.
const LEVELS_MAX: usize = 2;

/// Returns every defect as a pair of the rule's label and a message; empty if there are none.
pub fn check(rules: &[Rule]) -> Vec<(String, String)> {
    let mut wrong = Vec::new();
    let mut of: BTreeMap<&str, Vec<&Rule>> = BTreeMap::new();
    for rule in rules {
        of.entry(&rule.id).or_default().push(rule);
    }
    for rule in rules {
        let mut note = |expected: String| wrong.push((rule.label(), expected));
        if rule.authority.trim().is_empty() {
            note("authority: whom to ask expected".into());
        }
        if rule.citation.trim().is_empty() {
            note("citation: where the text stands expected".into());
        }
        if rule.hosts.is_empty() || rule.parts.is_empty() {
            note("hosts and parts: at least one of each expected".into());
        }
        if rule.effective_from.zip(rule.effective_to).is_some_and(|(from, to)| to < from) {
            note("effective_to: the day of effective_from or a later one expected".into());
        }
        if (rule.kind == Kind::Stub) != (rule.verdict == Verdict::NoRule) {
            note("verdict: a stub, and nothing else, says that no rule is on file".into());
        }
        if rule.excepts.is_none() && !rule.void_if.is_empty() {
            note("void_if: only an exception can be shut".into());
        }
        let named = rule.excepts.iter().chain(&rule.alternative_for);
        for base in named {
            match of.get(base.as_str()) {
                None => note(format!("a rule on file expected, {base} found")),
                Some(versions) if versions.iter().all(|v| v.instrument != rule.instrument) => {
                    note(format!("a rule of the same instrument expected, {base} found"));
                }
                Some(_) => {}
            }
        }
        for shut in rule.void_if.iter().filter(|id| !of.contains_key(id.as_str())) {
            note(format!("void_if: a rule on file expected, {shut} found"));
        }
        // An exception to an exception, and no deeper. The limit also ends cycles.
        let mut at = rule.excepts.as_deref();
        let mut levels = 0;
        while let Some(base) = at {
            levels += 1;
            if levels > LEVELS_MAX {
                note("excepts: at most an exception to an exception expected".into());
                break;
            }
            at = of.get(base).and_then(|v| v.iter().find_map(|r| r.excepts.as_deref()));
        }
    }
    for versions in of.values() {
        for (at, a) in versions.iter().enumerate() {
            for b in versions.iter().skip(at + 1) {
                let from = |r: &Rule| r.effective_from.map_or(i64::MIN, Date::days);
                let to = |r: &Rule| r.effective_to.map_or(i64::MAX, Date::days);
                if from(a) <= to(b) && from(b) <= to(a) {
                    wrong.push((
                        b.label(),
                        format!("effective days that do not overlap with those of {} expected", a.label()),
                    ));
                }
            }
        }
    }
    wrong
}
