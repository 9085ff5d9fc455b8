//! Swap rounds of a club: gathering lots and wishes for a day, sealing them, settling who gets what, handing over. How it
//! is settled is in [`crate::clearing`]; here is what a round is, and what of it goes into the settling.

mod assemble;
mod summary;
mod words;

pub use assemble::{Barrier, Facts, assemble};
pub use summary::{LeftOver, Summary, WhyLeft, summary};
pub use words::{bar_words, reason_words, unmet_words};

use serde::{Deserialize, Serialize};

use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, ClubId, CultivarId, OfferId, RoundId, RoundLotId, WishId},
    limits,
    offer::Material,
    place::AreaCode,
    time::{Date, Timestamp},
};

crate::offer::words! {
    /// Where a round stands.
    Phase {
        /// Members bring lots and list wishes.
        Gathering = "gathering",
        /// Nothing changes any more until it is settled.
        Sealed = "sealed",
        /// Who gets what is settled and told.
        Allotted = "allotted",
        /// The day: lots change hands.
        HandingOver = "handing_over",
        /// It is over.
        Closed = "closed",
        /// It came to nothing.
        CalledOff = "called_off",
    }
}

impl Phase {
    /// Whether lots are held back for it.
    pub const fn is_open(self) -> bool {
        !matches!(self, Self::Closed | Self::CalledOff)
    }
}

/// What an organiser may set.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// The most units a member takes.
    pub cap: u32,
    /// How many units more than they get anyone may be asked to give.
    pub slack: u32,
    /// How many units more than they give someone gets who never took part before.
    pub newcomers: u32,
    /// The most units of one cultivar a member takes; 0 for no limit.
    pub cultivar_cap: u32,
    /// Where set, units up to this step of the ladder come before the ranks of wishes, later ones after them.
    pub fair_levels: Option<i32>,
    /// Whether things may go by post.
    pub by_post: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self { cap: 8, slack: 1, newcomers: 1, cultivar_cap: 0, fair_levels: None, by_post: false }
    }
}

/// A round before it is checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RoundDraft {
    /// What it is called.
    pub title: String,
    /// What members should know.
    pub about: String,
    /// Where the day is, for members.
    pub place: String,
    /// Where that is: a code of ISO 3166.
    pub area: String,
    /// The day.
    pub day: Option<Date>,
    /// The last day for lots and wishes.
    pub gather_until: Option<Date>,
    /// What is set.
    pub settings: Settings,
}

/// What a round says of itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Says {
    /// What it is called.
    pub title: String,
    /// What members should know.
    pub about: String,
    /// Where the day is.
    pub place: String,
    /// Where that is.
    pub area: AreaCode,
    /// The day.
    pub day: Date,
    /// The last day for lots and wishes.
    pub gather_until: Date,
    /// What is set.
    pub settings: Settings,
}

/// A round on file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Round {
    /// Its id.
    pub id: RoundId,
    /// Whose.
    pub club: ClubId,
    /// What it says of itself.
    pub says: Says,
    /// Where it stands.
    pub phase: Phase,
    /// The hash of the secret, published from the beginning.
    pub commitment: String,
    /// The secret: shown once the round is sealed.
    pub secret: String,
    /// The hash of what was sealed.
    pub input_hash: Option<String>,
    /// How often it was settled.
    pub runs: u32,
    /// When it was made.
    pub created_at: Timestamp,
    /// Counts up with each change.
    pub version: i64,
    /// Counts up with each change of what the round says.
    pub says_version: i64,
}

/// A member's part in a round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// The round's id.
    pub round: RoundId,
    /// Whose.
    pub account: AccountId,
    /// Their number on the day.
    pub number: u32,
    /// Where what they get will be: a code of ISO 3166.
    pub area: AreaCode,
    /// They come to the day.
    pub meeting: bool,
    /// They send and take by post.
    pub post: bool,
    /// How they can be reached, for those with whom something is allotted.
    pub contact: String,
    /// How many units more they give than the round asks of everyone.
    pub give_more: u32,
    /// They did not come.
    pub absent: bool,
    /// The organiser who entered it for them.
    pub entered_by: Option<AccountId>,
}

/// What a member says of their part.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PartDraft {
    /// Where what they get will be.
    pub area: String,
    /// They come to the day.
    pub meeting: bool,
    /// They send and take by post.
    pub post: bool,
    /// How they can be reached.
    pub contact: String,
    /// How many units more they give.
    pub give_more: u32,
}

/// What someone brings: packs of an offer of theirs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Brought {
    /// Its id.
    pub id: RoundLotId,
    /// The round's id.
    pub round: RoundId,
    /// The offer's id.
    pub offer: OfferId,
    /// Whose.
    pub giver: AccountId,
    /// Its number on the tables.
    pub number: u32,
    /// How many packs: units of the round.
    pub units: u32,
    /// How much of the offer is in one, in the offer's unit.
    pub per_unit: u32,
    /// Given freely.
    pub gift: bool,
    /// Documents that go with it, where a rule asks for one: which, and their numbers.
    pub papers: String,
    /// When it was there on the day.
    pub checked_in_at: Option<Timestamp>,
    /// The organiser who entered it for its giver.
    pub entered_by: Option<AccountId>,
}

/// What a wish takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Accepts {
    /// This lot.
    Lot(RoundLotId),
    /// Any lot of a cultivar and material.
    Any(CultivarId, Material),
}

/// A line of a member's list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wish {
    /// Its id.
    pub id: WishId,
    /// The round's id.
    pub round: RoundId,
    /// Whose.
    pub account: AccountId,
    /// 1 is the dearest.
    pub rank: u32,
    /// At most so many units.
    pub quantity: u32,
    /// Any of these.
    pub accepts: Vec<Accepts>,
}

/// What an authority said of moving things from one place to another, where no rule is on file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// From.
    pub from: AreaCode,
    /// To.
    pub to: AreaCode,
    /// Who was asked.
    pub asked: String,
    /// What was said.
    pub said: String,
    /// Who asked.
    pub by: AccountId,
    /// When.
    pub at: Timestamp,
}

/// What someone gave and took in a club's earlier rounds, as handed over. Gifts are not counted as given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ledger {
    /// Units given.
    pub given: i64,
    /// Units taken.
    pub taken: i64,
}

impl Ledger {
    /// Given less taken: positive for those to whom the club owes something.
    pub fn balance(self) -> i32 {
        i32::try_from(self.given - self.taken).unwrap_or(if self.given > self.taken {
            i32::MAX
        } else {
            i32::MIN
        })
    }
    /// Whether they never took part.
    pub const fn is_new(self) -> bool {
        self.given == 0 && self.taken == 0
    }
}

/// Checks what a round says of itself. `day` and `gather_until` may stay in the past where they are as they were.
///
/// # Errors
/// All wrong fields.
pub fn check(draft: &RoundDraft, today: Date) -> Result<Says, Vec<FieldError>> {
    let mut fields = Fields::new();
    let title =
        fields.line("round.title", &draft.title, limits::REASON_CHARS_MIN, limits::CLUB_NAME_CHARS_MAX);
    let about = fields.text("round.about", &draft.about, 0, limits::CLUB_ABOUT_CHARS_MAX);
    let place = fields.line("round.place", &draft.place, 0, limits::PLACE_LABEL_CHARS_MAX);
    let area = fields.take("round.area_code", AreaCode::parse(&draft.area));
    let day = draft.day;
    match day {
        None => fields.wrong("round.day", "the day of the swap expected"),
        Some(day) if day < today || day > today.plus_days(limits::OFFER_WINDOW_DAYS_MAX) => fields.wrong(
            "round.day",
            format!("{today} or a day within {} days expected, {day} found", limits::OFFER_WINDOW_DAYS_MAX),
        ),
        Some(_) => {}
    }
    let gather_until = draft.gather_until.or(day.map(|d| d.plus_days(-1).max(today)));
    if let (Some(day), Some(until)) = (day, gather_until)
        && (until > day || until < today.plus_days(-1))
    {
        fields.wrong("round.gather_until", format!("a day from {today} to {day} expected, {until} found"));
    }
    check_settings(&mut fields, "round.settings", &draft.settings);
    let whole = || {
        Some(Says {
            title: title?,
            about: about?,
            place: place?,
            area: area?,
            day: day?,
            gather_until: gather_until?,
            settings: draft.settings,
        })
    };
    let whole = whole();
    fields.finish(whole)
}

/// Checks what is set.
pub fn check_settings(fields: &mut Fields, path: &str, settings: &Settings) {
    let mut within = |name: &str, value: u32, least: u32, most: u32| {
        if value < least || value > most {
            // what was no number of packs at all is not repeated
            let found =
                if value > limits::ROUND_UNITS_MAX { String::new() } else { format!(", {value} found") };
            fields.wrong(format!("{path}.{name}"), format!("{least} to {most} expected{found}"));
        }
    };
    within("cap", settings.cap, 1, limits::ROUND_CAP_MAX);
    within("slack", settings.slack, 0, limits::ROUND_CAP_MAX);
    within("newcomers", settings.newcomers, 0, limits::ROUND_CAP_MAX);
    within("cultivar_cap", settings.cultivar_cap, 0, limits::ROUND_CAP_MAX);
    let level = settings.fair_levels.unwrap_or(0);
    if level.abs() > limits::ROUND_CAP_MAX as i32 {
        fields.wrong(format!("{path}.fair_levels"), "a step of the ladder expected, such as 1 or 2");
    }
}

/// Checks what a member says of their part.
///
/// # Errors
/// All wrong fields.
pub fn check_part(draft: &PartDraft, by_post: bool) -> Result<(AreaCode, String), Vec<FieldError>> {
    let mut fields = Fields::new();
    let area = fields.take("part.area_code", AreaCode::parse(&draft.area));
    let contact = fields.line("part.contact", &draft.contact, 3, limits::CONTACT_CHARS_MAX);
    let comes = draft.meeting || (draft.post && by_post);
    if !comes {
        let ways = if by_post { "coming to the day, or post," } else { "coming to the day" };
        fields.wrong("part.meeting", format!("{ways} expected: this round hands over in no other way"));
    }
    if draft.post && !by_post {
        fields.wrong("part.post", "left out expected: this round hands nothing over by post");
    }
    if draft.give_more > limits::ROUND_UNITS_MAX {
        fields.wrong("part.give_more", format!("at most {} expected", limits::ROUND_UNITS_MAX));
    }
    fields.finish(area.zip(contact))
}

/// A line of a list before it is checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WishDraft {
    /// 1 is the dearest; 0 for its place in the list.
    pub rank: u32,
    /// At most so many units; 0 for one.
    pub quantity: u32,
    /// Any of these.
    pub accepts: Vec<Accepts>,
}

/// How many lines a member's list may have: two more than units they take, so that a short list is no advantage.
pub const fn lines_max(cap: u32) -> usize {
    cap as usize + 2
}

/// Checks a list; each line's rank and quantity.
///
/// # Errors
/// All wrong fields.
pub fn check_wishes(lines: &[WishDraft], settings: &Settings) -> Result<Vec<(u32, u32)>, Vec<FieldError>> {
    let mut fields = Fields::new();
    let most = lines_max(settings.cap);
    if lines.len() > most {
        fields.wrong(
            "wishes",
            format!(
                "at most {most} lines expected, {} found: each member takes up to {} units here; name several lots on one line instead",
                lines.len(),
                settings.cap
            ),
        );
    }
    let mut checked = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        let path = format!("wishes[{at}]");
        let rank = if line.rank == 0 { u32::try_from(at + 1).unwrap_or(u32::MAX) } else { line.rank };
        let quantity = line.quantity.max(1);
        if rank as usize > limits::ROUND_LINES_MAX {
            fields.wrong(format!("{path}.rank"), format!("1 to {} expected", limits::ROUND_LINES_MAX));
        }
        if quantity > settings.cap {
            fields.wrong(
                format!("{path}.quantity"),
                format!("1 to {} expected, {quantity} found", settings.cap),
            );
        }
        let mut seen = line.accepts.clone();
        seen.sort_unstable();
        seen.dedup();
        if line.accepts.is_empty()
            || line.accepts.len() > limits::ROUND_CHOICES_MAX
            || seen.len() < line.accepts.len()
        {
            fields.wrong(
                format!("{path}.accepts"),
                format!("1 to {} lots or cultivars expected, each once", limits::ROUND_CHOICES_MAX),
            );
        }
        checked.push((rank, quantity));
    }
    fields.finish(Some(checked))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_is_told_at_once() {
        let today = Date::new(2026, 7, 1).unwrap();
        let good = RoundDraft {
            title: "Winter swap".into(),
            area: "AU-QLD".into(),
            day: Some(today.plus_days(10)),
            ..Default::default()
        };
        assert_eq!(check(&good, today).unwrap().gather_until, today.plus_days(9));
        let bad = RoundDraft {
            title: "x".into(),
            area: "here".into(),
            day: Some(today.plus_days(-3)),
            settings: Settings { cap: 0, ..Default::default() },
            ..good
        };
        let wrong: Vec<String> = check(&bad, today).unwrap_err().into_iter().map(|f| f.field).collect();
        assert_eq!(
            wrong,
            ["round.title", "round.area_code", "round.day", "round.gather_until", "round.settings.cap"]
        );
    }

    #[test]
    fn lists_are_two_lines_longer_than_the_limit_at_most() {
        let line = WishDraft {
            accepts: vec![Accepts::Lot(RoundLotId::from_uuid(Default::default()))],
            ..Default::default()
        };
        let settings = Settings { cap: 2, ..Default::default() };
        assert_eq!(
            check_wishes(&vec![line.clone(); 4], &settings).unwrap(),
            [(1, 1), (2, 1), (3, 1), (4, 1)]
        );
        assert_eq!(check_wishes(&vec![line.clone(); 5], &settings).unwrap_err()[0].field, "wishes");
        let twice = WishDraft { accepts: vec![line.accepts[0]; 2], quantity: 3, ..line };
        let wrong: Vec<String> =
            check_wishes(&[twice], &settings).unwrap_err().into_iter().map(|f| f.field).collect();
        assert_eq!(wrong, ["wishes[0].quantity", "wishes[0].accepts"]);
    }

    #[test]
    fn who_comes_to_nothing_takes_no_part() {
        let draft = PartDraft {
            area: "AU-QLD".into(),
            contact: "at the gate".into(),
            post: true,
            ..Default::default()
        };
        assert!(check_part(&draft, true).is_ok());
        let wrong: Vec<String> =
            check_part(&draft, false).unwrap_err().into_iter().map(|f| f.field).collect();
        assert_eq!(wrong, ["part.meeting", "part.post"]);
    }
}
