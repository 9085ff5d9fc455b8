//! Tallies as growers keep them: of a sowing (sown, sprouted, sprouts of each seed), and of seedlings grown
//! on (judged, off-type). One tally answers several descriptors. It is accepted only if its numbers add up.

use super::Value;
use crate::field::FieldError;

/// Descriptor key for seeds that sprouted, of those sown.
pub const GERMINATION: &str = "germination";
/// Descriptor key for seeds with two or more sprouts, of those that sprouted.
pub const SEVERAL: &str = "multi_sprout_seeds";
/// Descriptor key for seeds with exactly two sprouts, of those that sprouted.
pub const DOUBLE: &str = "double_sprout_seeds";

/// Tally of a sowing; `None` for what the grower did not count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sowing {
    /// Number of seeds sown.
    pub sown: Option<u32>,
    /// Number of those with at least one sprout.
    pub sprouted: Option<u32>,
    /// Number of seeds with exactly one sprout.
    pub one: Option<u32>,
    /// Number of seeds with exactly two sprouts.
    pub two: Option<u32>,
    /// Number of seeds with three or more sprouts.
    pub more: Option<u32>,
    /// Number of seeds with two or more sprouts, if the grower did not count two and more separately.
    pub several: Option<u32>,
}

/// How the judged seedlings were selected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// All seedlings, without selection.
    AsTheyCame,
    /// Seedlings kept after roguing.
    AfterRoguing,
    /// Seedlings that were the only sprout of their seed.
    Alone,
    /// Seedlings from seeds with several sprouts.
    OfSeveral,
    /// The largest seedling of each seed.
    Largest,
}

impl Which {
    /// Returns the key of the descriptor that the selection answers.
    pub const fn descriptor(self) -> &'static str {
        match self {
            Self::AsTheyCame => "off_type_seedlings",
            Self::AfterRoguing => "off_type_after_roguing",
            Self::Alone => "off_type_single_sprout",
            Self::OfSeveral => "off_type_multi_sprout",
            Self::Largest => "off_type_largest_sprout",
        }
    }
}

/// Tally of seedlings grown on and judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seedlings {
    /// How the seedlings were selected.
    pub which: Which,
    /// Number of seedlings judged.
    pub judged: u32,
    /// Number of those that were off-type.
    pub off_type: u32,
}

/// A descriptor's key and its value.
pub type Row = (&'static str, Value);

fn tally(counted: u32, of_these: u32) -> Value {
    Value::Tally { counted, of_these }
}

impl Sowing {
    /// Returns the value for each descriptor that the tally answers. `path` is the path of the message on the
    /// wire.
    ///
    /// # Errors
    /// Returns every number that does not add up.
    pub fn rows(&self, path: &str) -> Result<Vec<Row>, Vec<FieldError>> {
        let mut wrong = Vec::new();
        let mut say = |field: &str, expected: String| {
            wrong.push(FieldError::new(format!("{path}.{field}"), expected));
        };
        let by_two = match (self.two, self.more) {
            (Some(two), Some(more)) => two.checked_add(more),
            (Some(_), None) | (None, Some(_)) if self.several.is_none() => {
                say(
                    "more",
                    "seeds with two and with three or more sprouts expected together; 0 counts too".into(),
                );
                None
            }
            (Some(_) | None, Some(_) | None) => None,
        };
        if let (Some(several), Some(sum)) = (self.several, by_two)
            && several != sum
        {
            say("several", format!("{sum} expected, as two and more make that, {several} found"));
        }
        let several = self.several.or(by_two);
        let sprouted = match (self.sprouted, self.one, several) {
            (Some(all), Some(one), Some(several)) => {
                let sum = one.saturating_add(several);
                if all != sum {
                    say(
                        "sprouted",
                        format!(
                            "{one} with one sprout and {several} with several make {sum}, not {all}: check the numbers"
                        ),
                    );
                }
                Some(all)
            }
            (Some(all), _, _) => Some(all),
            (None, Some(one), Some(several)) => one.checked_add(several),
            (None, _, _) => None,
        };
        if let (Some(all), Some(several)) = (sprouted, several)
            && several > all
        {
            say(
                "several",
                format!("{several} with several sprouts of {all} that came up cannot be: check the numbers"),
            );
        }
        if let (Some(all), Some(two)) = (sprouted, self.two)
            && two > all
        {
            say("two", format!("{two} with two sprouts of {all} that came up cannot be: check the numbers"));
        }
        if let (Some(sown), Some(all)) = (self.sown, sprouted)
            && all > sown
        {
            say("sprouted", format!("{all} came up of {sown} sown: that cannot be, check the two numbers"));
        }
        if self.sown == Some(0) {
            say("sown", "at least one seed expected".into());
        }
        let mut rows = Vec::new();
        if let (Some(sown), Some(all)) = (self.sown, sprouted) {
            rows.push((GERMINATION, tally(sown, all)));
        }
        if let (Some(all @ 1..), Some(several)) = (sprouted, several) {
            rows.push((SEVERAL, tally(all, several)));
        }
        if let (Some(all @ 1..), Some(two)) = (sprouted, self.two) {
            rows.push((DOUBLE, tally(all, two)));
        }
        if rows.is_empty() && wrong.is_empty() {
            wrong.push(FieldError::new(
                path,
                "seeds sown and sprouted, or seeds with one and with several sprouts, expected",
            ));
        }
        if wrong.is_empty() { Ok(rows) } else { Err(wrong) }
    }
}

impl Seedlings {
    /// Returns the descriptor that the seedlings answer, with its value. `path` is the path of the message on
    /// the wire.
    ///
    /// # Errors
    /// Returns the first number that does not add up.
    pub fn row(&self, path: &str) -> Result<Row, Vec<FieldError>> {
        if self.judged == 0 {
            return Err(vec![FieldError::new(
                format!("{path}.judged"),
                "at least one judged seedling expected",
            )]);
        }
        if self.off_type > self.judged {
            return Err(vec![FieldError::new(
                format!("{path}.off_type"),
                format!(
                    "{} off-type of {} judged cannot be: check the two numbers",
                    self.off_type, self.judged
                ),
            )]);
        }
        Ok((self.which.descriptor(), tally(self.judged, self.off_type)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_full_tally_answers_three_questions() {
        let sowing = Sowing {
            sown: Some(40),
            sprouted: Some(36),
            one: Some(3),
            two: Some(10),
            more: Some(23),
            several: None,
        };
        assert_eq!(
            sowing.rows("t").unwrap(),
            [(GERMINATION, tally(40, 36)), (SEVERAL, tally(36, 33)), (DOUBLE, tally(36, 10))]
        );
        let wrong = Sowing { one: Some(4), ..sowing }.rows("t").unwrap_err();
        assert_eq!(wrong[0].field, "t.sprouted");
        assert!(Sowing { sown: Some(30), ..sowing }.rows("t").is_err());
        assert!(Sowing { more: None, ..sowing }.rows("t").is_err());
        assert!(Sowing::default().rows("t").is_err());
        // No sprouts at all: a count for germination and for nothing else.
        let none = Sowing { sown: Some(12), sprouted: Some(0), ..Sowing::default() };
        assert_eq!(none.rows("t").unwrap(), [(GERMINATION, tally(12, 0))]);
    }

    proptest! {
        #[test]
        fn whatever_is_taken_adds_up(
            sown in prop::option::of(0u32..50), sprouted in prop::option::of(0u32..50),
            one in prop::option::of(0u32..50), two in prop::option::of(0u32..50),
            more in prop::option::of(0u32..50), several in prop::option::of(0u32..50),
        ) {
            let sowing = Sowing { sown, sprouted, one, two, more, several };
            if let Ok(rows) = sowing.rows("t") {
                prop_assert!(!rows.is_empty());
                for (_, value) in rows {
                    let Value::Tally { counted, of_these } = value else { panic!("a tally") };
                    prop_assert!(counted > 0 && of_these <= counted);
                }
            }
        }
    }
}
