//! The grafting log: grafts made, how many took, and pooled rates by method and month over many growers.

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
    /// Way of grafting.
    Method {
        /// A wedge-shaped scion in a split stock.
        Cleft = "cleft",
        /// Two long cuts with tongues that lock.
        WhipAndTongue = "whip_and_tongue",
        /// Two long cuts laid together, without tongues.
        Splice = "splice",
        /// A scion set against a shallow cut in the side of the stock.
        Veneer = "veneer",
        /// A wedge-shaped scion in a deep cut in the side of the stock.
        Side = "side",
        /// Scions pushed under the bark.
        Bark = "bark",
        /// Two plants joined while each keeps its roots.
        Approach = "approach",
        /// A shield with one bud under the bark (T-budding).
        ShieldBud = "shield_bud",
        /// A chip with one bud in a notch.
        ChipBud = "chip_bud",
        /// A patch of bark with one bud.
        PatchBud = "patch_bud",
        /// Any other way.
        Other = "other",
    }
}

/// Grafts of one cultivar that one grower made with one method on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Grafts {
    /// Unique id of the entry.
    pub id: GraftId,
    /// The grower who made the grafts.
    pub grower: AccountId,
    /// Cultivar of the scion.
    pub cultivar: CultivarId,
    /// Key of the crop.
    pub crop: String,
    /// Grafting method.
    pub method: Method,
    /// Day of grafting.
    pub day: Date,
    /// Whether the place is south of the equator.
    pub south: bool,
    /// Tree or lot of the scions, in the grower's words.
    pub scion_from: String,
    /// The rootstock, in the grower's words.
    pub rootstock: String,
    /// Number of grafts made.
    pub made: u32,
    /// Number of grafts that took; `None` without a report.
    pub taken: Option<u32>,
    /// Day of that report.
    pub seen_on: Option<Date>,
    /// Limits and context.
    pub note: String,
    /// When the entry was made.
    pub at: Timestamp,
    /// Increases by one with each change, for optimistic locking.
    pub version: i64,
}

/// A grower's entry, unchecked.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// Grafting method; required.
    pub method: Option<Method>,
    /// Day of grafting; today if omitted.
    pub day: Option<Date>,
    /// Whether the place is south of the equator.
    pub south: bool,
    /// Tree or lot of the scions, in the grower's words.
    pub scion_from: String,
    /// The rootstock, in the grower's words.
    pub rootstock: String,
    /// Number of grafts made.
    pub made: u32,
    /// Number of grafts that took, if already known.
    pub taken: Option<u32>,
    /// Limits and context.
    pub note: String,
}

/// Days for which a scion can live on its own sap. An earlier report is no outcome, and the server asks
/// again.
pub const SETTLED_DAYS: i64 = 21;

fn check_taken(fields: &mut Fields, taken: Option<u32>, made: u32) {
    if taken.is_some_and(|taken| taken > made) {
        fields
            .wrong("taken", format!("at most the {made} made expected, {} found", taken.unwrap_or_default()));
    }
}

/// Checks an entry. Returns the draft with trimmed texts, its method, and its day.
///
/// # Errors
/// Returns every wrong field.
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
    /// Returns the entry with a report of `taken` grafts on a day (today if omitted). It replaces an earlier
    /// report.
    ///
    /// # Errors
    /// Returns every wrong field.
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

    /// Returns whether the outcome is final: the report is late enough, or no graft took.
    pub fn is_settled(&self) -> bool {
        let late = self.seen_on.is_some_and(|seen| seen >= self.day.plus_days(SETTLED_DAYS));
        self.taken == Some(0) || (self.taken.is_some() && late)
    }

    /// Returns whether a report is due: the grafts are old enough and the outcome is not final.
    pub fn report_due(&self, today: Date) -> bool {
        !self.is_settled() && self.day.plus_days(SETTLED_DAYS) <= today
    }

    /// Returns the month of the grafts as it would be north of the equator.
    pub fn northern_month(&self) -> u8 {
        northern_month(self.day, self.south)
    }
}

/// Returns the month of a day as it would be north of the equator; a southern month shifts by half a year.
pub fn northern_month(day: Date, south: bool) -> u8 {
    if south { (day.month() + 5) % 12 + 1 } else { day.month() }
}

/// One grower's totals for a method and a month.
#[derive(Clone, Debug, PartialEq)]
pub struct Tally {
    /// The grower who made the grafts.
    pub observer: Observer,
    /// Grafting method.
    pub method: Method,
    /// Month as it would be north of the equator, 1 to 12.
    pub month: u8,
    /// Number of grafts made, in entries with a report.
    pub made: u64,
    /// Number of those that took.
    pub taken: u64,
}

/// Fewest independent growers behind a rate, so that no rate reveals one grower's log.
pub const GROWERS_MIN: usize = 3;

/// How often grafts take, over many growers.
#[derive(Clone, Debug, PartialEq)]
pub struct Rate {
    /// Grafting method; `None` for all methods together.
    pub method: Option<Method>,
    /// Month as it would be north of the equator; `None` for all months together.
    pub month: Option<u8>,
    /// Number of grafts behind the rate, rounded to ten.
    pub about: u64,
    /// Number of independent growers.
    pub growers: usize,
    /// Mean share that takes, rounded to the hundredth.
    pub middle: f64,
    /// 90 % interval of the share, rounded to the hundredth.
    pub interval: (f64, f64),
}

fn hundredth(share: f64) -> f64 {
    (share * 100.0).round() / 100.0
}

/// Returns rates for all grafts together, for each method, for each month, and for each method in each month,
/// in that order. It leaves out rates with fewer than [`GROWERS_MIN`] growers. Each grower has one voice, and
/// grafts by one grower are alike (as with seedlings of one report). Growers for whom no one vouched do not count.
/// Rounding keeps readers from recovering one grower's log by subtraction.
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
        assert_eq!(of(None, None).unwrap().about, 40, "no one vouched for the fourth");
        // Rates with only one or two growers stay hidden.
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
        // An early report is stored, and the server asks again.
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
