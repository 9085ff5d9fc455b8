//! How long seed, wood and plants live, by how they are kept: published figures or common practice.

use serde::{Deserialize, Serialize};

use crate::{odds::Chance, offer::Material};

/// One way of keeping a material, and how long the material lives that way.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Storage {
    /// Kind of plant material.
    pub material: Material,
    /// Unique key within the material, such as `moist_cool`.
    pub key: String,
    /// How it is kept, in words that follow "kept", such as "damp in plastic at room temperature".
    pub how: String,
    /// Days up to which the source reports no loss, or the loss in `alive_pct`.
    #[serde(default)]
    pub good_days: Option<u32>,
    /// Days after which the source reports nothing, or next to nothing, alive.
    #[serde(default)]
    pub dead_days: Option<u32>,
    /// Days up to which some of it lived, where the source gives a range.
    #[serde(default)]
    pub at_most_days: Option<u32>,
    /// The source's own words, where it gives no days. `good_days` and `dead_days` then interpret these words
    /// for planning; they do not say that nothing lives.
    #[serde(default)]
    pub words: String,
    /// Percent alive at [`Storage::good_days`]; `None` means all.
    #[serde(default)]
    pub alive_pct: Option<f64>,
    /// Limits and context.
    #[serde(default)]
    pub note: String,
    /// Key of the source; empty if there is none.
    #[serde(default)]
    pub source: String,
    /// Basis without a source, such as `common practice`.
    #[serde(default)]
    pub basis: String,
}

/// State of a material after some days of keeping.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kept {
    /// Within the time for which the source reports it alive; holds the share alive at the end of that time,
    /// 0 to 1.
    Lives(f64),
    /// Beyond what sources observed, or between alive and dead; no source gives a share.
    NotSaid,
    /// Beyond the time after which the source reports nothing alive.
    Dead,
}

impl Storage {
    /// Returns the source of the entry, or its basis without one.
    pub fn origin(&self) -> &str {
        if self.source.is_empty() { &self.basis } else { &self.source }
    }

    /// Returns the days for which the source reports it alive, for planning.
    pub fn surely_days(&self) -> Option<u32> {
        self.good_days.or_else(|| self.dead_days.map(|dead| dead.saturating_sub(1)))
    }

    /// Returns the last day of keeping on which some of it may live. Beyond that day nothing lives, or no
    /// source says.
    pub fn use_by_days(&self) -> Option<u32> {
        self.dead_days.map(|dead| dead.saturating_sub(1)).or(self.at_most_days).or(self.good_days)
    }

    /// Returns the state after `days` of keeping.
    pub fn after(&self, days: u32) -> Kept {
        if self.words.is_empty() && self.dead_days.is_some_and(|dead| days >= dead) {
            Kept::Dead
        } else if self.good_days.is_some_and(|good| days <= good) {
            // The source's share is for the end of the time; earlier days use the same share.
            Kept::Lives(self.alive_pct.unwrap_or(100.0) / 100.0)
        } else {
            Kept::NotSaid
        }
    }

    /// Returns the mistakes in the entry: field and message.
    pub(super) fn check(&self) -> Vec<(&'static str, &'static str)> {
        let mut wrong = Vec::new();
        if self.key.is_empty()
            || !self.key.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
        {
            wrong.push(("key", "lower-case letters, digits and underscores expected"));
        }
        if self.how.trim().is_empty() {
            wrong.push(("how", "words that say how it is kept expected"));
        }
        if self.good_days.is_none() && self.dead_days.is_none() {
            wrong.push(("good_days", "good_days, dead_days or both expected"));
        }
        if self.good_days.zip(self.dead_days).is_some_and(|(good, dead)| good >= dead) {
            wrong.push(("dead_days", "more days than good_days expected"));
        }
        let at_most_fits = self.at_most_days.is_none_or(|most| {
            self.good_days.is_some_and(|good| good <= most) && self.dead_days.is_none_or(|dead| most < dead)
        });
        if !at_most_fits {
            wrong.push(("at_most_days", "no fewer days than good_days, and fewer than dead_days, expected"));
        }
        if self.alive_pct.is_some_and(|pct| !(0.0..=100.0).contains(&pct)) {
            wrong.push(("alive_pct", "0 to 100 expected"));
        }
        if self.origin().is_empty() {
            wrong.push(("source", "a source, or basis = \"common practice\", expected"));
        }
        wrong
    }
}

impl Kept {
    /// Returns the chance that one piece is alive.
    pub fn alive(self) -> Chance {
        match self {
            Self::Lives(share) => Chance::exactly(share),
            Self::NotSaid => Chance::Between(0.0, 1.0),
            Self::Dead => Chance::exactly(0.0),
        }
    }

    /// Returns the state as a sentence.
    pub fn text(self, storage: &Storage, days: u32) -> String {
        let kept = format!("Kept {days} {}, {}", if days == 1 { "day" } else { "days" }, storage.how);
        let origin = storage.origin();
        match self {
            Self::Lives(share) if share >= 1.0 => {
                format!("{kept}: within the time in which it is said to live [{origin}]")
            }
            Self::Lives(share) => format!(
                "{kept}: calculated with the {} in 100 that lived at the end of the time looked at [{origin}]",
                crate::evidence::share::in_hundred(share)
            ),
            Self::NotSaid if !storage.words.is_empty() => format!(
                "{kept}: its source says “{}” and no days, so some or all may be dead; sow now and sow more [{origin}]",
                storage.words
            ),
            Self::NotSaid => format!(
                "{kept}: longer than sources say it surely lives, so some or all may be dead; sow now and sow more [{origin}]"
            ),
            Self::Dead => format!(
                "{kept}: past the time after which sources found nothing alive; look for fresh seed [{origin}]"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_decide() {
        let storage = Storage {
            material: Material::Seed,
            key: "moist".into(),
            how: "moist".into(),
            good_days: Some(14),
            dead_days: Some(42),
            at_most_days: None,
            words: String::new(),
            alive_pct: Some(80.0),
            note: String::new(),
            source: String::new(),
            basis: "common practice".into(),
        };
        assert!(storage.check().is_empty());
        assert_eq!(storage.after(0), Kept::Lives(0.8));
        assert_eq!(storage.after(14), Kept::Lives(0.8));
        assert_eq!(storage.after(15), Kept::NotSaid);
        assert_eq!(storage.after(41), Kept::NotSaid);
        assert_eq!(storage.after(42), Kept::Dead);
        let open = Storage { dead_days: None, ..storage.clone() };
        assert_eq!(open.after(1000), Kept::NotSaid);
        // A range: planning uses the low end, and the last use is at the high end.
        let range = Storage { at_most_days: Some(20), dead_days: None, ..storage.clone() };
        assert_eq!((range.surely_days(), range.use_by_days()), (Some(14), Some(20)));
        assert_eq!(range.after(15), Kept::NotSaid);
        assert!(range.check().is_empty());
        // The source's words do not count the dead.
        let said = Storage { words: "a few weeks".into(), ..storage.clone() };
        assert_eq!((said.after(1000), said.use_by_days()), (Kept::NotSaid, Some(41)));
        assert!(said.after(50).text(&said, 50).contains("says “a few weeks” and no days"));
        let wrong = Storage { at_most_days: Some(13), ..storage.clone() };
        assert_eq!(wrong.check()[0].0, "at_most_days");
        let broken = Storage { dead_days: Some(3), how: String::new(), basis: String::new(), ..storage };
        let parts: Vec<&str> = broken.check().into_iter().map(|(part, _)| part).collect();
        assert_eq!(parts, ["how", "dead_days", "source"]);
    }
}
