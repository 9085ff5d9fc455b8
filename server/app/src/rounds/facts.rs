//! What is on file of a round, put together for settling: lots, wishes, books, and what bars a lot from a member.

use std::{
    cell::RefCell,
    collections::{BTreeMap, BTreeSet},
};

use scionary_domain::{
    claim::Shown,
    clearing::{Bar, Input, Share},
    club::Standing,
    ids::{AccountId, CultivarId, OfferId, RoundLotId},
    limits,
    movement::{Rules, Verdict},
    offer::{Material, Offer},
    place::AreaCode,
    round::{Advice, Brought, Facts, Ledger, Part, Phase, Round, Settings, Wish, assemble},
    time::Date,
};
use scionary_store::{Source, block_store, club_store, offer_store, round_store};

use crate::{App, Error, Rule, alerts, registry::Registry};

/// What is on file of a round.
pub(super) struct OnFile {
    pub(super) round: Round,
    pub(super) parts: Vec<Part>,
    pub(super) lots: Vec<Brought>,
    pub(super) offers: BTreeMap<OfferId, Offer>,
    pub(super) wishes: Vec<Wish>,
    pub(super) ledgers: BTreeMap<AccountId, Ledger>,
    advice: Vec<Advice>,
    blocked: BTreeSet<(AccountId, AccountId)>,
    /// Lots that a confirmed alert reaches.
    alerted: BTreeSet<RoundLotId>,
}

/// Rows read at once.
const ROWS: usize = 1_000;

impl OnFile {
    /// Reads all of it.
    pub(super) async fn read(db: &impl Source, round: Round) -> Result<Self, Error> {
        let mut parts = round_store::parts(db, round.id, 0, limits::ROUND_MEMBERS_MAX).await?;
        if round.phase == Phase::Gathering {
            // who has left the club meanwhile takes no part
            let members = members_of(db, &round).await?;
            parts.retain(|p| members.contains(&p.account));
        }
        let lots = round_store::lots(db, round.id, None, 0, limits::ROUND_LOTS_MAX).await?;
        let ids: Vec<OfferId> = lots.iter().map(|l| l.offer).collect();
        let mut offers = BTreeMap::new();
        for some in ids.chunks(ROWS) {
            offers.extend(offer_store::some(db, some).await?.into_iter().map(|o| (o.id, o)));
        }
        let people: Vec<AccountId> = parts.iter().map(|p| p.account).collect();
        let mut alerted = BTreeSet::new();
        for lot in &lots {
            if let Some(tagged) = offers.get(&lot.offer).and_then(|o| o.contents.lot) {
                match alerts::refuse_reached(db, tagged).await {
                    Ok(()) => {}
                    Err(Error::Rule(Rule::AlertReaches(_))) => {
                        alerted.insert(lot.id);
                    }
                    Err(other) => return Err(other),
                }
            }
        }
        Ok(Self {
            wishes: round_store::wishes(db, round.id, None).await?,
            ledgers: round_store::ledgers(db, round.club, None).await?,
            advice: round_store::advice(db, round.id).await?,
            blocked: block_store::among(db, &people).await?.into_iter().collect(),
            round,
            parts,
            lots,
            offers,
            alerted,
        })
    }

    /// What each lot is, by the records that stand for it.
    pub(super) fn what(&self, registry: &Registry) -> BTreeMap<RoundLotId, (CultivarId, Material)> {
        let of = |lot: &Brought| {
            let contents = &self.offers.get(&lot.offer)?.contents;
            let cultivar = registry.record(contents.cultivar).map_or(contents.cultivar, |r| r.cultivar.id);
            Some((lot.id, (cultivar, contents.material)))
        };
        self.lots.iter().filter_map(of).collect()
    }

    /// What is sealed, with what is set or tried out; `absent` lots and members are barred.
    pub(super) fn input(
        &self,
        app: &App,
        settings: Settings,
        fixed: Vec<Share>,
        kept: Vec<Share>,
        absent: &dyn Fn(&Brought, &Part) -> bool,
    ) -> Input {
        let (registry, rules) = (app.registry(), app.movement());
        let what = self.what(&registry);
        // wishes name records that may have been merged since
        let mut wishes = self.wishes.clone();
        for wish in &mut wishes {
            for accepts in &mut wish.accepts {
                if let scionary_domain::round::Accepts::Any(cultivar, _) = accepts {
                    *cultivar = registry.record(*cultivar).map_or(*cultivar, |r| r.cultivar.id);
                }
            }
        }
        let barriers = Barriers::new(self, &registry, &rules, settings);
        let barrier = |lot: &Brought, part: &Part| {
            if absent(lot, part) { Some(Bar::Absent) } else { barriers.of(lot, part) }
        };
        assemble(&Facts {
            round: &self.round,
            settings,
            parts: &self.parts,
            lots: &self.lots,
            what: &what,
            wishes: &wishes,
            ledgers: &self.ledgers,
            barrier: &barrier,
            fixed,
            kept,
        })
    }
}

/// Everybody who belongs to a round's club.
async fn members_of(db: &impl Source, round: &Round) -> Result<BTreeSet<AccountId>, Error> {
    let mut all = BTreeSet::new();
    let mut after = None;
    loop {
        let belong = [Standing::Member, Standing::Organiser];
        let some = club_store::members(db, round.club, &belong, after, ROWS as u64).await?;
        let Some(last) = some.last() else { return Ok(all) };
        after = Some(last.account);
        all.extend(some.iter().map(|m| m.account));
    }
}

/// What bars lots from members.
pub(super) struct Barriers<'a> {
    file: &'a OnFile,
    registry: &'a Registry,
    rules: &'a Rules,
    settings: Settings,
    part_of: BTreeMap<AccountId, &'a Part>,
    asked: RefCell<BTreeMap<(OfferId, String, i32), Shown>>,
}

/// What is on file on moving so much of an offer to a place on the day of a round.
pub(super) fn movement(
    registry: &Registry,
    rules: &Rules,
    offer: &Offer,
    to: &str,
    quantity: i32,
    day: Date,
) -> Shown {
    Shown::of(&rules.ask(&crate::movement::of_offer(registry, &offer.contents, to, quantity, day)), day)
}

impl<'a> Barriers<'a> {
    pub(super) fn new(
        file: &'a OnFile,
        registry: &'a Registry,
        rules: &'a Rules,
        settings: Settings,
    ) -> Self {
        let part_of = file.parts.iter().map(|p| (p.account, p)).collect();
        Self { file, registry, rules, settings, part_of, asked: RefCell::default() }
    }

    /// Why a lot cannot go to a member at all.
    pub(super) fn of(&self, lot: &Brought, part: &Part) -> Option<Bar> {
        let file = self.file;
        if lot.giver == part.account {
            return Some(Bar::Own);
        }
        let giver = self.part_of.get(&lot.giver)?;
        let offer = file.offers.get(&lot.offer)?;
        let day = file.round.says.day;
        if file.blocked.contains(&(lot.giver, part.account))
            || file.blocked.contains(&(part.account, lot.giver))
        {
            return Some(Bar::Blocked);
        }
        if file.alerted.contains(&lot.id) {
            return Some(Bar::Alert);
        }
        if offer.contents.use_by.is_some_and(|until| until < day) || offer.contents.available_until < day {
            return Some(Bar::Viability);
        }
        let by_post = self.settings.by_post && giver.post && part.post;
        let meet = giver.meeting && part.meeting;
        if !meet && !by_post {
            return Some(Bar::HandOver);
        }
        let quantity = i32::try_from(lot.per_unit).unwrap_or(i32::MAX);
        match self.verdict(offer, &part.area, quantity) {
            Verdict::Prohibited => Some(Bar::Movement),
            Verdict::DocumentRequired => lot.papers.is_empty().then_some(Bar::Movement),
            Verdict::Conditions => None,
            Verdict::NoRule => self.unasked(offer, &part.area).then_some(Bar::NoRule),
        }
    }

    fn verdict(&self, offer: &Offer, to: &AreaCode, quantity: i32) -> Verdict {
        let key = (offer.id, to.as_str().to_string(), quantity);
        if let Some(shown) = self.asked.borrow().get(&key) {
            return shown.verdict;
        }
        let shown =
            movement(self.registry, self.rules, offer, to.as_str(), quantity, self.file.round.says.day);
        let verdict = shown.verdict;
        self.asked.borrow_mut().insert(key, shown);
        verdict
    }

    /// Whether it would cross from one province or country into another and nobody has noted what the authority says.
    fn unasked(&self, offer: &Offer, to: &AreaCode) -> bool {
        let grown = offer.contents.health.grown_at.iter().filter_map(|g| g.area.as_ref());
        let mut from = grown.chain(&offer.contents.place.area).peekable();
        // nobody knows from where: that may be anywhere
        if from.peek().is_none() {
            return true;
        }
        let noted = |from: &AreaCode| self.file.advice.iter().any(|a| a.from == *from && a.to == *to);
        from.any(|from| from != to && !noted(from))
    }
}
