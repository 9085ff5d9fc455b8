//! Swap rounds of a club: gather lots and wishes, seal them, settle who gets what, hand over. This module
//! defines a round and assembles the input of a settlement; [`crate::clearing`] settles it.

mod assemble;
mod day;
mod summary;
mod words;

pub use assemble::{Barrier, Facts, assemble};
pub use day::{Event, EventKind};
pub use summary::{LeftOver, Summary, WhyLeft, summary};
pub use words::bar_words;

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
    /// Phase of a round.
    Phase {
        /// Members bring lots and list wishes.
        Gathering = "gathering",
        /// Lots and wishes are frozen until the settlement.
        Sealed = "sealed",
        /// The result is settled and published to members.
        Allotted = "allotted",
        /// The swap day: lots change hands.
        HandingOver = "handing_over",
        /// The round has ended.
        Closed = "closed",
        /// An organiser cancelled the round.
        CalledOff = "called_off",
    }
}

impl Phase {
    /// Returns true while the round reserves its lots.
    pub const fn is_open(self) -> bool {
        !matches!(self, Self::Closed | Self::CalledOff)
    }
}

/// Settings that an organiser can change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settings {
    /// Maximum number of units that a member receives.
    pub cap: u32,
    /// Maximum number of units by which a member may give more than they receive.
    pub slack: u32,
    /// Number of units by which a first-time member may receive more than they give.
    pub newcomers: u32,
    /// Maximum number of units of one cultivar that a member receives; 0 for no limit.
    pub cultivar_cap: u32,
    /// If set, units at this level or below are decided before the ranks of wishes, and all other units after them.
    pub fair_levels: Option<i32>,
    /// True if lots may go by post.
    pub by_post: bool,
}

impl Default for Settings {
    fn default() -> Self {
        Self { cap: 8, slack: 1, newcomers: 1, cultivar_cap: 0, fair_levels: None, by_post: false }
    }
}

/// Details of a round before [`check`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RoundDraft {
    /// Title of the round.
    pub title: String,
    /// Information for members.
    pub about: String,
    /// Meeting place, as members read it.
    pub place: String,
    /// ISO 3166 code of the meeting place.
    pub area: String,
    /// Swap day.
    pub day: Option<Date>,
    /// Last day for lots and wishes; by default the day before the swap day.
    pub gather_until: Option<Date>,
    /// Settings of the settlement.
    pub settings: Settings,
}

/// Details of a round that passed [`check`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Says {
    /// Title of the round.
    pub title: String,
    /// Information for members.
    pub about: String,
    /// Meeting place, as members read it.
    pub place: String,
    /// Country or subdivision of the meeting place.
    pub area: AreaCode,
    /// Swap day.
    pub day: Date,
    /// Last day for lots and wishes.
    pub gather_until: Date,
    /// Settings of the settlement.
    pub settings: Settings,
}

/// A round on file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Round {
    /// Id of the round.
    pub id: RoundId,
    /// Club that holds the round.
    pub club: ClubId,
    /// Details for members.
    pub says: Says,
    /// Current phase.
    pub phase: Phase,
    /// Hash of the secret, published from the beginning.
    pub commitment: String,
    /// Secret that seeds the draw; published after the settlement.
    pub secret: String,
    /// Hash of the sealed input; `None` before sealing.
    pub input_hash: Option<String>,
    /// Number of settlements so far.
    pub runs: u32,
    /// Time of creation.
    pub created_at: Timestamp,
    /// Version of the whole round; each change adds 1.
    pub version: i64,
    /// Version of the details alone; each change of `says` adds 1.
    pub says_version: i64,
}

/// A member's participation in a round.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Id of the round.
    pub round: RoundId,
    /// Account of the member.
    pub account: AccountId,
    /// The member's number on the swap day.
    pub number: u32,
    /// Where the received lots will be kept: country or subdivision.
    pub area: AreaCode,
    /// True if the member comes to the swap day.
    pub meeting: bool,
    /// True if the member sends and receives by post.
    pub post: bool,
    /// Contact for the members with whom a lot is exchanged.
    pub contact: String,
    /// Units that the member gives beyond the round's slack.
    pub give_more: u32,
    /// True if the member did not come.
    pub absent: bool,
    /// Organiser who entered it for the member.
    pub entered_by: Option<AccountId>,
    /// True if the contact may stand on the sheets of the day.
    pub on_sheets: bool,
}

/// A participation before [`check_part`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PartDraft {
    /// ISO 3166 code of the place where the received lots will be kept.
    pub area: String,
    /// True if the member comes to the swap day.
    pub meeting: bool,
    /// True if the member sends and receives by post.
    pub post: bool,
    /// Contact for the members with whom a lot is exchanged.
    pub contact: String,
    /// Units that the member gives beyond the round's slack.
    pub give_more: u32,
    /// True if the contact may stand on the sheets of the day.
    pub on_sheets: bool,
}

/// A lot of a round: packs of one of the giver's offers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Brought {
    /// Id of the lot in the round.
    pub id: RoundLotId,
    /// Id of the round.
    pub round: RoundId,
    /// Id of the offer that the packs come from.
    pub offer: OfferId,
    /// Account of the giver.
    pub giver: AccountId,
    /// The lot's number on the tables.
    pub number: u32,
    /// Number of packs; a pack is the unit of a round.
    pub units: u32,
    /// Contents of one pack, in the offer's unit.
    pub per_unit: u32,
    /// True for a gift, which earns no return.
    pub gift: bool,
    /// Documents that travel with the lot because a rule asks for one, with their numbers.
    pub papers: String,
    /// Time of check-in on the swap day; `None` before.
    pub checked_in_at: Option<Timestamp>,
    /// Packs that came on the day, if an organiser counted fewer than promised.
    pub came: Option<u32>,
    /// Organiser who entered it for the giver.
    pub entered_by: Option<AccountId>,
}

/// What satisfies a wish.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Accepts {
    /// This lot only.
    Lot(RoundLotId),
    /// Any lot of this cultivar and material.
    Any(CultivarId, Material),
}

/// One line of a member's wish list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wish {
    /// Id of the wish.
    pub id: WishId,
    /// Id of the round.
    pub round: RoundId,
    /// Account of the member.
    pub account: AccountId,
    /// Rank of the wish; 1 is the most wanted.
    pub rank: u32,
    /// Maximum number of units.
    pub quantity: u32,
    /// Alternatives, any of which satisfies the wish.
    pub accepts: Vec<Accepts>,
}

/// An authority's answer about moving plants between two areas, for a pair without a rule on file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Advice {
    /// Origin.
    pub from: AreaCode,
    /// Destination.
    pub to: AreaCode,
    /// Authority that the organiser asked.
    pub asked: String,
    /// The authority's answer.
    pub said: String,
    /// Organiser who asked and entered the answer.
    pub by: AccountId,
    /// Time of entry.
    pub at: Timestamp,
}

/// Units that a member gave and received in the club's earlier rounds, as handed over. Gifts do not count as given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ledger {
    /// Units given, without gifts.
    pub given: i64,
    /// Units received.
    pub taken: i64,
}

impl Ledger {
    /// Returns given minus received units: positive if the club owes the member units.
    pub fn balance(self) -> i32 {
        i32::try_from(self.given - self.taken).unwrap_or(if self.given > self.taken {
            i32::MAX
        } else {
            i32::MIN
        })
    }
    /// Returns true if the member has neither given nor received a unit.
    pub const fn is_new(self) -> bool {
        self.given == 0 && self.taken == 0
    }
}

/// Checks the details of a round. The swap day may not be in the past. The last day for wishes may be one day
/// before `today`, for time zones behind the server's.
///
/// # Errors
/// Returns one [`FieldError`] for every wrong field.
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

/// Checks the settings; defects go to `fields` under `path`.
pub fn check_settings(fields: &mut Fields, path: &str, settings: &Settings) {
    let mut within = |name: &str, value: u32, least: u32, most: u32| {
        if value < least || value > most {
            // A value far beyond any number of packs is not repeated in the message.
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

/// Checks a participation and returns its area and contact.
///
/// # Errors
/// Returns one [`FieldError`] for every wrong field.
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

/// A line of a wish list before [`check_wishes`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct WishDraft {
    /// Rank of the wish, 1 the most wanted; 0 to use its place in the list.
    pub rank: u32,
    /// Maximum number of units; 0 for one.
    pub quantity: u32,
    /// Alternatives, any of which satisfies the wish.
    pub accepts: Vec<Accepts>,
}

/// Returns the maximum length of a wish list: the cap plus two, so that a short list is no advantage.
pub const fn lines_max(cap: u32) -> usize {
    cap as usize + 2
}

/// Checks a wish list and returns each line's rank and quantity.
///
/// # Errors
/// Returns one [`FieldError`] for every wrong field.
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
