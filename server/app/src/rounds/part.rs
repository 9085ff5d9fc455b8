//! Taking part: saying how, bringing lots, listing wishes, and taking all of it back.

use std::collections::BTreeSet;

use scionary_domain::{
    access::{Granted, TakePart},
    field::{FieldError, Fields},
    ids::{AccountId, CultivarId, OfferId, RoundId, RoundLotId, WishId},
    limits,
    offer::{Material, State as OfferState, Unit},
    round::{
        Accepts, Brought, EventKind, Part, PartDraft, Phase, Round, Wish, WishDraft, check_part, check_wishes,
    },
};
use scionary_store::{claim_store, offer_store, round_store};
use serde_json::json;

use super::{TOPIC, gathering, gathering_or_day, named, noted};
use crate::{Done, Error, Rule, UseCase, Write, alerts, claims};

/// Takes part in a round, or changes how.
pub struct JoinRound {
    /// The round's id.
    pub id: RoundId,
    /// How.
    pub draft: PartDraft,
}

/// Leaves a round with all lots and wishes.
pub struct LeaveRound {
    /// The round's id.
    pub id: RoundId,
}

/// Brings packs of an own offer; of one that is in the round already, another number of packs.
pub struct BringLot {
    /// The round's id.
    pub id: RoundId,
    /// The offer's id.
    pub offer: OfferId,
    /// How many packs; 0 for all that is left.
    pub units: u32,
    /// How much of the offer is in one; 0 for what is usual.
    pub per_unit: u32,
    /// Given freely.
    pub gift: bool,
    /// Documents that go with it.
    pub papers: String,
}

/// Takes a lot out of the round again.
pub struct TakeBackLot {
    /// The round's id.
    pub id: RoundId,
    /// Which: its number, its code or its id.
    pub lot: String,
}

/// What a line accepts, as it is typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AcceptsDraft {
    /// A lot: its number, its code or its id.
    pub lot: String,
    /// Or a cultivar: its id or exact name.
    pub cultivar: String,
    /// The crop of that name.
    pub crop: String,
    /// And its material.
    pub material: Option<Material>,
}

/// A line of a list, as it is typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ListLine {
    /// 1 is the dearest; 0 for its place in the list.
    pub rank: u32,
    /// At most so many units; 0 for one.
    pub quantity: u32,
    /// Any of these.
    pub accepts: Vec<AcceptsDraft>,
}

/// Puts a list of wishes in the place of the one before.
pub struct SetWishes {
    /// The round's id.
    pub id: RoundId,
    /// The list, the dearest first.
    pub lines: Vec<ListLine>,
}

/// The caller's part; without one they are told how to begin.
pub(super) async fn own_part(write: &Write<'_>, round: &Round) -> Result<Part, Error> {
    let account = write.call.account_id()?;
    Ok(round_store::part(write.tx, round.id, account).await?.ok_or(Rule::NotInRound)?)
}

impl UseCase for JoinRound {
    type Out = RoundId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<RoundId>, Error> {
        let (round, granted) = gathering_or_day(write, self.id).await?;
        let account = write.call.account_id()?;
        let (area, contact) = check_part(&self.draft, round.says.settings.by_post)?;
        let before = round_store::part(write.tx, round.id, account).await?;
        let on_the_day = round.phase == Phase::HandingOver;
        if on_the_day && before.is_some() {
            return Err(Rule::InRoundAlready.into());
        }
        let number = match &before {
            Some(part) => part.number,
            None => {
                let (last, count) = round_store::count_parts(write.tx, round.id).await?;
                if count >= limits::ROUND_MEMBERS_MAX {
                    return Err(Rule::RoundFull(limits::ROUND_MEMBERS_MAX).into());
                }
                last + 1
            }
        };
        let part = Part {
            round: round.id,
            account,
            number,
            area,
            meeting: self.draft.meeting,
            post: self.draft.post && round.says.settings.by_post,
            contact,
            give_more: self.draft.give_more,
            absent: false,
            entered_by: write.call.entered_by,
            on_sheets: self.draft.on_sheets,
        };
        round_store::set_part(write.tx, &granted, &part).await?;
        if on_the_day {
            noted(write, round.id, EventKind::Joined, (None, Some(account)), 0, "").await?;
        }
        Ok(Done::new(round.id, "round.joined", round.id, json!({})).and_publish(TOPIC, round.id))
    }
}

/// Takes a lot out, and gives what it held back to its offer.
async fn take_back(write: &Write<'_>, granted: &Granted<TakePart>, lot: &Brought) -> Result<(), Error> {
    round_store::remove_lot(write.tx, granted, lot.id).await?;
    let quantity = i32::try_from(lot.units.saturating_mul(lot.per_unit)).unwrap_or(i32::MAX);
    claim_store::release(write.tx, lot.offer, quantity).await?;
    claims::move_up(write, lot.offer).await
}

/// Takes everything of a member out of a round.
pub(super) async fn leave(
    write: &Write<'_>,
    granted: &Granted<TakePart>,
    round: RoundId,
    account: AccountId,
) -> Result<(), Error> {
    for lot in round_store::lots(write.tx, round, Some(account), 0, limits::ROUND_LOTS_MAX).await? {
        take_back(write, granted, &lot).await?;
    }
    round_store::set_wishes(write.tx, granted, round, account, &[], None).await?;
    Ok(round_store::remove_part(write.tx, granted, round, account).await?)
}

impl UseCase for LeaveRound {
    type Out = RoundId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<RoundId>, Error> {
        let (round, granted) = gathering(write, self.id).await?;
        let part = own_part(write, &round).await?;
        leave(write, &granted, round.id, part.account).await?;
        Ok(Done::new(round.id, "round.left", round.id, json!({})).and_publish(TOPIC, round.id))
    }
}

/// How much is in a pack where no one says: a stick, five seeds, a plant, a fruit.
const fn usual_pack(unit: Unit) -> u32 {
    match unit {
        Unit::Sticks | Unit::Plants | Unit::Fruits => 1,
        Unit::Seeds => 5,
        Unit::Grams => 10,
    }
}

impl UseCase for BringLot {
    type Out = (RoundId, Brought);
    async fn run(&self, write: &Write<'_>) -> Result<Done<Self::Out>, Error> {
        let (round, granted) = gathering_or_day(write, self.id).await?;
        let part = own_part(write, &round).await?;
        let today = write.call.now.date();
        let offer = offer_store::offer(write.tx, self.offer).await?.filter(|o| o.giver == part.account);
        let offer = offer.ok_or_else(|| Error::NotFound {
            kind: "offer of yours",
            id: self.offer.to_string(),
            hint: "bring one of your own offers".into(),
        })?;
        match offer.state(today) {
            OfferState::Open | OfferState::Coming => {}
            OfferState::Expired | OfferState::Withdrawn => return Err(Rule::OfferOver.into()),
        }
        if !write.call.covers(offer.contents.club) {
            return Err(Error::not_found("offer", offer.id));
        }
        if offer.contents.club.is_some_and(|club| club != round.club) {
            return Err(Rule::OfferOfAnotherClub.into());
        }
        if offer.contents.available_until < round.says.day {
            let until = offer.contents.available_until;
            return Err(FieldError::new(
                "offer_id",
                format!("an offer that can be had on {} expected; this one ends on {until}", round.says.day),
            )
            .into());
        }
        if let Some(lot) = offer.contents.lot {
            alerts::refuse_reached(write.tx, lot).await?;
        }
        let (last, all, own) = round_store::count_lots(write.tx, round.id, part.account).await?;
        let before = round_store::lot_of_offer(write.tx, round.id, offer.id).await?;
        let on_the_day = round.phase == Phase::HandingOver;
        if on_the_day && before.is_some() {
            return Err(Rule::InRoundAlready.into());
        }
        if before.is_none() && (own >= limits::ROUND_LOTS_EACH_MAX || all >= limits::ROUND_LOTS_MAX) {
            return Err(Rule::TooManyRoundLots(own).into());
        }
        let held = before.as_ref().map_or(0, |lot| lot.units.saturating_mul(lot.per_unit));
        let per_unit = if self.per_unit == 0 { usual_pack(offer.contents.unit) } else { self.per_unit };
        // brought again, it is brought again: what it held is free for it
        let left = u32::try_from(offer.contents.quantity - offer.promised).unwrap_or(0).saturating_add(held);
        let mut fields = Fields::new();
        let most = (left / per_unit).min(limits::ROUND_UNITS_MAX);
        let units = if self.units == 0 { most } else { self.units };
        let unit = offer.contents.unit;
        if most == 0 || units > most {
            let (pack, left) = (unit.counted(whole(per_unit)), unit.counted(whole(left)));
            fields
                .wrong("units", format!("at most {most} packs of {pack} expected: {left} can still be had"));
        }
        let papers = fields.text("papers", &self.papers, 0, limits::HEALTH_TEXT_CHARS_MAX);
        let papers = fields.finish(papers)?;
        if held > 0 {
            claim_store::release(write.tx, offer.id, whole(held)).await?;
        }
        if !claim_store::promise(write.tx, offer.id, whole(units.saturating_mul(per_unit)), today).await? {
            return Err(Rule::NothingLeft.into());
        }
        let new = match &before {
            Some(lot) => (lot.id, lot.number),
            None => (RoundLotId::from_uuid(write.new_uuid()?), last + 1),
        };
        let lot = Brought {
            id: new.0,
            round: round.id,
            offer: offer.id,
            giver: part.account,
            number: new.1,
            units,
            per_unit,
            gift: self.gift,
            papers,
            // On the day it is brought to the table.
            checked_in_at: on_the_day.then_some(write.call.now),
            came: None,
            entered_by: write.call.entered_by,
        };
        round_store::set_lot(write.tx, &granted, &lot).await?;
        if on_the_day {
            noted(write, round.id, EventKind::Brought, (Some(lot.id), Some(part.account)), units, "").await?;
        }
        if before.is_some() {
            // what it no longer holds is for those who wait
            claims::move_up(write, offer.id).await?;
        }
        let change = json!({ "lot": lot.id.to_string(), "units": units });
        Ok(Done::new((round.id, lot), "round.lot_brought", round.id, change).and_publish(TOPIC, round.id))
    }
}

/// A number of things as offers count them.
fn whole(n: u32) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

impl UseCase for TakeBackLot {
    type Out = RoundId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<RoundId>, Error> {
        let (round, granted) = gathering(write, self.id).await?;
        let lot = named(write.tx, round.id, &self.lot).await?;
        if lot.giver != write.call.account_id()? {
            return Err(Rule::NotYourLot.into());
        }
        take_back(write, &granted, &lot).await?;
        let change = json!({ "lot": lot.id.to_string() });
        Ok(Done::new(round.id, "round.lot_taken_back", round.id, change).and_publish(TOPIC, round.id))
    }
}

/// What a typed line accepts.
async fn accepts(
    write: &Write<'_>,
    round: &Round,
    owner: AccountId,
    draft: &AcceptsDraft,
    path: &str,
) -> Result<Accepts, Error> {
    if !draft.lot.trim().is_empty() {
        let lot = named(write.tx, round.id, &draft.lot).await?;
        if lot.giver == owner {
            return Err(FieldError::new(
                format!("{path}.lot"),
                "choose a lot of someone else; this one is your own",
            )
            .into());
        }
        return Ok(Accepts::Lot(lot.id));
    }
    let registry = write.app.registry();
    let record = registry.resolve(&format!("{path}.cultivar"), &draft.cultivar, &draft.crop)?;
    let material = draft.material.ok_or_else(|| {
        FieldError::new(format!("{path}.material"), "what of it expected, such as scion wood")
    })?;
    Ok(Accepts::Any(record.cultivar.id, material))
}

impl UseCase for SetWishes {
    type Out = RoundId;
    async fn run(&self, write: &Write<'_>) -> Result<Done<RoundId>, Error> {
        let (round, granted) = gathering_or_day(write, self.id).await?;
        let part = own_part(write, &round).await?;
        if round.phase == Phase::HandingOver
            && !round_store::wishes(write.tx, round.id, Some(part.account)).await?.is_empty()
        {
            return Err(Rule::InRoundAlready.into());
        }
        let mut drafts = Vec::new();
        for (at, line) in self.lines.iter().take(limits::ROUND_LINES_MAX + 1).enumerate() {
            let mut all = Vec::new();
            for (place, draft) in line.accepts.iter().take(limits::ROUND_CHOICES_MAX + 1).enumerate() {
                let path = format!("wishes[{at}].accepts[{place}]");
                all.push(accepts(write, &round, part.account, draft, &path).await?);
            }
            drafts.push(WishDraft { rank: line.rank, quantity: line.quantity, accepts: all });
        }
        let settings = &round.says.settings;
        let checked = check_wishes(&drafts, settings)?;
        let mut wishes = Vec::new();
        for (at, (draft, (rank, quantity))) in drafts.into_iter().zip(checked).enumerate() {
            if settings.cultivar_cap > 0 && cultivars(write, &draft.accepts).await?.len() > 1 {
                return Err(FieldError::new(
                    format!("wishes[{at}].accepts"),
                    "put one cultivar on a line: this round limits how much of one cultivar a member takes",
                )
                .into());
            }
            let id = WishId::from_uuid(write.new_uuid()?);
            let (round, account, accepts) = (round.id, part.account, draft.accepts);
            wishes.push(Wish { id, round, account, rank, quantity, accepts });
        }
        let by = write.call.entered_by;
        round_store::set_wishes(write.tx, &granted, round.id, part.account, &wishes, by).await?;
        let change = json!({ "lines": wishes.len() });
        Ok(Done::new(round.id, "round.wishes_listed", round.id, change).and_publish(TOPIC, round.id))
    }
}

/// The cultivars of what a line accepts.
async fn cultivars(write: &Write<'_>, accepts: &[Accepts]) -> Result<BTreeSet<CultivarId>, Error> {
    let registry = write.app.registry();
    let mut all = BTreeSet::new();
    for accepts in accepts {
        let cultivar = match accepts {
            Accepts::Any(cultivar, _) => Some(*cultivar),
            Accepts::Lot(lot) => match round_store::lot(write.tx, *lot).await? {
                Some(lot) => offer_store::offer(write.tx, lot.offer).await?.map(|o| o.contents.cultivar),
                None => None,
            },
        };
        all.extend(cultivar.map(|c| registry.record(c).map_or(c, |record| record.cultivar.id)));
    }
    Ok(all)
}
