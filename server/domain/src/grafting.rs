//! The grafting log: grafts made and how many took, and what many growers' logs say of a method and a month.

use std::collections::BTreeMap;

use crate::{
    evidence::{
        Observer,
        share::{CONFIDENCE, Quality, Report, pooled},
    },
    field::{FieldError, Fields},
    ids::{AccountId, CultivarId, GraftId},
    limits,
    time::{Date, Timestamp},
};

crate::offer::words! {
    /// How a graft is made.
    Method {
        /// A wedge in a split stock.
        Cleft = "cleft",
        /// Two long cuts with tongues that lock.
        WhipAndTongue = "whip_and_tongue",
        /// Two long cuts laid together.
        Splice = "splice",
        /// A scion laid to the side of the stock.
        Veneer = "veneer",
        /// A wedge in a cut in the side of the stock.
        Side = "side",
        /// Scions under the bark.
        Bark = "bark",
        /// Two plants joined while each keeps its roots.
        Approach = "approach",
        /// A shield with one bud under the bark (T-budding).
        ShieldBud = "shield_bud",
        /// A chip with one bud in a notch.
        ChipBud = "chip_bud",
        /// A patch of bark with one bud.
        PatchBud = "patch_bud",
        /// Another way.
        Other = "other",
    }
}

/// Grafts of one cultivar made by one grower in one way on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Grafts {
    /// The id.
    pub id: GraftId,
    /// Who made them.
    pub grower: AccountId,
    /// The scion's cultivar.
    pub cultivar: CultivarId,
    /// The crop's key.
    pub crop: String,
    /// How.
    pub method: Method,
    /// When.
    pub day: Date,
    /// South of the equator.
    pub south: bool,
    /// The tree or lot that the scions come from.
    pub scion_from: String,
    /// What they were grafted on.
    pub rootstock: String,
    /// How many were made.
    pub made: u32,
    /// How many took; none while nobody looked.
    pub taken: Option<u32>,
    /// On which day that was seen.
    pub seen_on: Option<Date>,
    /// What to bear in mind.
    pub note: String,
    /// When it was entered.
    pub at: Timestamp,
    /// Counts up with each change.
    pub version: i64,
}

/// What a grower enters.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// How.
    pub method: Option<Method>,
    /// When; today if left out.
    pub day: Option<Date>,
    /// South of the equator.
    pub south: bool,
    /// The tree or lot that the scions come from.
    pub scion_from: String,
    /// What they were grafted on.
    pub rootstock: String,
    /// How many.
    pub made: u32,
    /// How many took.
    pub taken: Option<u32>,
    /// What to bear in mind.
    pub note: String,
}

/// So early a scion still lives on its own sap: what was seen before is no outcome yet, and is asked for again.
pub const SETTLED_DAYS: i64 = 21;

fn check_taken(fields: &mut Fields, taken: Option<u32>, made: u32) {
    if taken.is_some_and(|taken| taken > made) {
        fields
            .wrong("taken", format!("at most the {made} made expected, {} found", taken.unwrap_or_default()));
    }
}

/// Checks what a grower enters; the day, made good.
///
/// # Errors
/// All that is wrong.
pub fn check(draft: &Draft, today: Date) -> Result<(Draft, Method, Date), Vec<FieldError>> {
    let mut fields = Fields::new();
    let scion_from = fields.line("scion_from", &draft.scion_from, 0, limits::GRAFT_TEXT_CHARS_MAX);
    let rootstock = fields.line("rootstock", &draft.rootstock, 0, limits::GRAFT_TEXT_CHARS_MAX);
    let note = fields.text("note", &draft.note, 0, limits::EVIDENCE_NOTE_CHARS_MAX);
    if draft.method.is_none() {
        let known: Vec<String> = Method::ALL.iter().map(|m| m.label()).collect();
        fields.wrong("method", format!("one of {} expected", known.join(", ")));
    }
    let day = draft.day.unwrap_or(today);
    if day > today.plus_days(1) || day.year() < limits::EVIDENCE_YEAR_MIN {
        fields.wrong("day", "a day that has come expected");
    }
    if draft.made == 0 || draft.made > limits::GRAFTS_TOGETHER_MAX {
        fields.wrong("made", format!("1 to {} expected, {} found", limits::GRAFTS_TOGETHER_MAX, draft.made));
    }
    check_taken(&mut fields, draft.taken, draft.made);
    let whole = || {
        let draft = Draft { scion_from: scion_from?, rootstock: rootstock?, note: note?, ..draft.clone() };
        let method = draft.method?;
        Some((draft, method, day))
    };
    let whole = whole();
    fields.finish(whole)
}

impl Grafts {
    /// The entry with what was seen of it on a day; an earlier report is corrected.
    ///
    /// # Errors
    /// What is wrong.
    pub fn reported(mut self, taken: u32, seen: Option<Date>, today: Date) -> Result<Self, Vec<FieldError>> {
        let mut fields = Fields::new();
        let day = seen.unwrap_or(today);
        if day < self.day || day > today.plus_days(1) {
            fields.wrong(
                "seen_on",
                format!("a day from {} to {} expected, {day} found", self.day, today.plus_days(1)),
            );
        }
        check_taken(&mut fields, Some(taken), self.made);
        (self.taken, self.seen_on) = (Some(taken), Some(day));
        fields.finish(Some(self))
    }

    /// Whether it is settled how many took: seen late enough, or none took.
    pub fn is_settled(&self) -> bool {
        let late = self.seen_on.is_some_and(|seen| seen >= self.day.plus_days(SETTLED_DAYS));
        self.taken == Some(0) || (self.taken.is_some() && late)
    }

    /// Whether a report is due on a day: it is old enough, and not settled.
    pub fn report_due(&self, today: Date) -> bool {
        !self.is_settled() && self.day.plus_days(SETTLED_DAYS) <= today
    }

    /// The month of the year that the day would have north of the equator.
    pub fn northern_month(&self) -> u8 {
        northern_month(self.day, self.south)
    }
}

/// The month of a day as it would be north of the equator: half a year away from a southern one.
pub fn northern_month(day: Date, south: bool) -> u8 {
    if south { (day.month() + 5) % 12 + 1 } else { day.month() }
}

/// What one grower's log comes to for a method and a month.
#[derive(Clone, Debug, PartialEq)]
pub struct Tally {
    /// Whose.
    pub observer: Observer,
    /// How.
    pub method: Method,
    /// The month north of the equator.
    pub month: u8,
    /// Made, of those that were reported on.
    pub made: u64,
    /// Taken.
    pub taken: u64,
}

/// With fewer independent growers nothing is shown: a rate must not tell anybody's own log.
pub const GROWERS_MIN: usize = 3;

/// How often grafts take on the average over growers.
#[derive(Clone, Debug, PartialEq)]
pub struct Rate {
    /// The method; none for all together.
    pub method: Option<Method>,
    /// The month north of the equator; none for all together.
    pub month: Option<u8>,
    /// Grafts counted, to the nearest ten.
    pub about: u64,
    /// Growers that are independent of each other.
    pub growers: usize,
    /// The share that takes, to the hundredth.
    pub middle: f64,
    /// The 90 % interval, to the hundredth.
    pub interval: (f64, f64),
}

fn hundredth(share: f64) -> f64 {
    (share * 100.0).round() / 100.0
}

/// Rates of all together, of each method, of each month, and of each method in each month, in that order, of what at
/// least [`GROWERS_MIN`] growers reported on. Each grower has one voice, grafts of one hand are alike (as with seedlings
/// of one report), growers whom nobody vouched for are not counted, and the numbers are coarse so that nobody's log can
/// be told by taking one from another.
pub fn rates(tallies: &[Tally]) -> Vec<Rate> {
    let mut groups: BTreeMap<(u8, Option<Method>, Option<u8>), Vec<Report>> = BTreeMap::new();
    for tally in tallies.iter().filter(|t| t.observer.counts() && t.made > 0) {
        let Tally { observer, method, month, made, taken } = tally;
        #[expect(clippy::cast_precision_loss, reason = "counts of grafts")]
        let report = Report {
            group: observer.group.to_string(),
            ..Report::new(observer.account.to_string(), *made as f64, *taken as f64, Quality::Counted)
        };
        for key in [
            (0, None, None),
            (1, Some(*method), None),
            (2, None, Some(*month)),
            (3, Some(*method), Some(*month)),
        ] {
            groups.entry(key).or_default().push(report.clone());
        }
    }
    groups
        .into_iter()
        .filter_map(|((_, method, month), reports)| {
            let pooled = pooled(&reports).filter(|p| p.people >= GROWERS_MIN)?;
            let (low, high) = pooled.posterior.interval(CONFIDENCE);
            Some(Rate {
                method,
                month,
                about: (pooled.counted + 5) / 10 * 10,
                growers: pooled.people,
                middle: hundredth(pooled.posterior.mean()),
                interval: (hundredth(low), hundredth(high)),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    fn grower(n: u128, vouched: bool) -> Observer {
        Observer { vouched, ..Observer::new(AccountId::from_uuid(Uuid::from_u128(n))) }
    }
    fn tally(n: u128, method: Method, month: u8, made: u64, taken: u64) -> Tally {
        Tally { observer: grower(n, true), method, month, made, taken }
    }
    fn draft(made: u32, taken: Option<u32>) -> Draft {
        Draft {
            method: Some(Method::Cleft),
            day: None,
            south: false,
            scion_from: "the tree by the gate".into(),
            rootstock: "seedling".into(),
            made,
            taken,
            note: String::new(),
        }
    }

    #[test]
    fn rates_by_method_and_month() {
        let all = rates(&[
            tally(1, Method::Cleft, 4, 10, 9),
            tally(2, Method::Cleft, 4, 10, 8),
            tally(3, Method::Cleft, 5, 10, 9),
            tally(2, Method::ChipBud, 8, 10, 2),
            Tally { observer: grower(4, false), ..tally(4, Method::ChipBud, 8, 1000, 0) },
        ]);
        let of = |method, month| all.iter().find(|r| r.method == method && r.month == month);
        let cleft = of(Some(Method::Cleft), None).unwrap();
        assert_eq!((cleft.about, cleft.growers), (30, 3));
        assert!(cleft.interval.0 < 0.87 && 0.87 < cleft.interval.1, "around 26 of 30: {cleft:?}");
        assert_eq!(of(None, None).unwrap().about, 40, "nobody vouched for the fourth");
        // of what one or two growers reported on nothing is told
        assert_eq!(of(Some(Method::ChipBud), None), None);
        assert_eq!(of(Some(Method::Cleft), Some(4)), None);
        assert!(rates(&[]).is_empty());
    }

    #[test]
    fn many_grafts_of_one_hand_do_not_outweigh_many_hands() {
        let few: Vec<Tally> = (1..=3).map(|n| tally(n, Method::Cleft, 4, 1000, 1000)).collect();
        let many: Vec<Tally> = (1..=30).map(|n| tally(n, Method::Cleft, 4, 100, 100)).collect();
        let width = |t: &[Tally]| rates(t)[0].interval.1 - rates(t)[0].interval.0;
        assert!(width(&few) > width(&many));
    }

    #[test]
    fn months_turn_with_the_hemisphere() {
        let day = "2027-10-12".parse().unwrap();
        assert_eq!((northern_month(day, false), northern_month(day, true)), (10, 4));
        assert_eq!(northern_month("2027-06-01".parse().unwrap(), true), 12);
    }

    #[test]
    fn entries_are_checked() {
        let today: Date = "2027-05-30".parse().unwrap();
        assert!(check(&draft(4, None), today).is_ok());
        // seen early: entered, and asked for again
        assert!(check(&draft(4, Some(3)), today).is_ok());
        let old = Draft { day: Some(today.plus_days(-40)), ..draft(4, Some(5)) };
        let wrong = Draft { method: None, made: 0, day: Some(today.plus_days(5)), ..draft(0, None) };
        let fields = |d: &Draft| -> Vec<String> {
            check(d, today).unwrap_err().into_iter().map(|e| e.field).collect()
        };
        assert_eq!(fields(&old), ["taken"]);
        assert_eq!(fields(&wrong), ["method", "day", "made"]);
    }
}
