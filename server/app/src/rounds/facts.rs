//! What is on file of a round, put together for settling: lots, wishes, books, and what bars a lot from a member.

use std::{
    cell::RefCell,
    collections::{BTreeMap, BTreeSet},
    rc::Rc,
};

use scionary_domain::{
    claim::Shown,
    clearing::{Bar, Input, Share},
    ids::{AccountId, CultivarId, OfferId, RoundLotId},
    limits,
    movement::{Atom, Rules, Verdict},
    offer::{Material, Offer},
    place::AreaCode,
    round::{
        Accepts, Advice, Brought, Facts, Ledger, Part, Phase, Round, Settings, Wish, assemble, lines_max,
    },
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
    /// Who left the club.
    gone: BTreeSet<AccountId>,
}

/// Rows read at once.
const ROWS: usize = 1_000;

impl OnFile {
    /// Reads all of it.
    pub(super) async fn read(db: &dyn Source, round: Round) -> Result<Self, Error> {
        let parts = round_store::parts(db, round.id, 0, limits::ROUND_MEMBERS_MAX).await?;
        let lots = round_store::lots(db, round.id, None, 0, limits::ROUND_LOTS_MAX).await?;
        let wishes = round_store::wishes(db, round.id, None).await?;
        let ledgers = round_store::ledgers(db, round.club, round.id, None).await?;
        Self::with(db, round, parts, lots, (wishes, ledgers)).await
    }

    /// Reads what concerns these lots, and these people beside those who bring them; without wishes and books.
    pub(super) async fn some(
        db: &dyn Source,
        round: Round,
        lots: Vec<Brought>,
        people: impl IntoIterator<Item = AccountId>,
    ) -> Result<Self, Error> {
        let people: BTreeSet<AccountId> = lots.iter().map(|lot| lot.giver).chain(people).collect();
        let people: Vec<AccountId> = people.into_iter().collect();
        let parts = round_store::parts_of(db, round.id, &people).await?;
        Self::with(db, round, parts, lots, (Vec::new(), BTreeMap::new())).await
    }

    async fn with(
        db: &dyn Source,
        round: Round,
        mut parts: Vec<Part>,
        lots: Vec<Brought>,
        (wishes, ledgers): (Vec<Wish>, BTreeMap<AccountId, Ledger>),
    ) -> Result<Self, Error> {
        // who has left the club meanwhile takes no part any more; once it is sealed, what they have is looked at, and barred
        let members = members_of(db, &round, &parts).await?;
        let gone: BTreeSet<AccountId> =
            parts.iter().map(|p| p.account).filter(|account| !members.contains(account)).collect();
        if round.phase == Phase::Gathering {
            parts.retain(|p| !gone.contains(&p.account));
        }
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
            wishes,
            ledgers,
            advice: round_store::advice(db, round.id).await?,
            blocked: block_store::among(db, &people).await?.into_iter().collect(),
            round,
            parts,
            lots,
            offers,
            alerted,
            gone,
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

    /// How many members' lists ask for more than limits allow.
    pub(super) fn too_long(&self, settings: &Settings) -> usize {
        let mut lists: BTreeMap<AccountId, (usize, u32)> = BTreeMap::new();
        for wish in &self.wishes {
            let (lines, most) = lists.entry(wish.account).or_default();
            *lines += 1;
            *most = wish.quantity.max(*most);
        }
        let long = |(lines, most): &(usize, u32)| *lines > lines_max(settings.cap) || *most > settings.cap;
        lists.values().filter(|list| long(list)).count()
    }

    /// How many lines of wishes accept several cultivars: where a round limits one cultivar, such a line has no meaning.
    pub(super) fn mixed(&self, registry: &Registry) -> usize {
        let what = self.what(registry);
        let cultivar = |accepts: &Accepts| match accepts {
            Accepts::Any(cultivar, _) => {
                Some(registry.record(*cultivar).map_or(*cultivar, |r| r.cultivar.id))
            }
            Accepts::Lot(lot) => what.get(lot).map(|(cultivar, _)| *cultivar),
        };
        let several =
            |wish: &&Wish| wish.accepts.iter().filter_map(cultivar).collect::<BTreeSet<_>>().len() > 1;
        self.wishes.iter().filter(several).count()
    }

    /// Refuses settings that the lists do not fit.
    pub(super) fn fit(&self, registry: &Registry, settings: &Settings) -> Result<(), Error> {
        match if settings.cultivar_cap == 0 { 0 } else { self.mixed(registry) } {
            0 => Ok(()),
            lines => Err(Rule::MixedWishes(lines).into()),
        }
    }

    /// What is sealed, with what is set or tried out; `bar` says what else bars a lot from a member.
    pub(super) fn input(
        &self,
        app: &App,
        settings: Settings,
        fixed: Vec<Share>,
        kept: Vec<Share>,
        bar: &dyn Fn(&Brought, &Part) -> Option<Bar>,
    ) -> Input {
        let (registry, rules) = (app.registry(), app.movement());
        let what = self.what(&registry);
        // wishes name records that may have been merged since
        let mut wishes = self.wishes.clone();
        for wish in &mut wishes {
            for accepts in &mut wish.accepts {
                if let Accepts::Any(cultivar, _) = accepts {
                    *cultivar = registry.record(*cultivar).map_or(*cultivar, |r| r.cultivar.id);
                }
            }
        }
        let barriers = Barriers::new(self, &registry, &rules, settings);
        let barrier = |lot: &Brought, part: &Part| bar(lot, part).or_else(|| barriers.of(lot, part));
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

/// Those of some people who belong to a round's club.
pub(super) async fn members_of(
    db: &dyn Source,
    round: &Round,
    parts: &[Part],
) -> Result<BTreeSet<AccountId>, Error> {
    let mut all = BTreeSet::new();
    for some in parts.chunks(ROWS) {
        let some: Vec<AccountId> = some.iter().map(|part| part.account).collect();
        let found = club_store::memberships(db, round.club, &some).await?;
        all.extend(found.into_iter().filter(|m| m.standing.belongs()).map(|m| m.account));
    }
    Ok(all)
}

/// What bars lots from members.
pub(super) struct Barriers<'a> {
    file: &'a OnFile,
    registry: &'a Registry,
    rules: &'a Rules,
    settings: Settings,
    part_of: BTreeMap<AccountId, &'a Part>,
    asked: RefCell<Asked>,
}

/// What each part of a movement comes to, by offer, place and count.
type Asked = BTreeMap<(OfferId, String, i32), Rc<Vec<Atom>>>;

/// What is on file on moving so much of an offer to a place on the day of a round, as it is looked at today.
pub(super) fn movement(
    (registry, rules): (&Registry, &Rules),
    offer: &Offer,
    to: &str,
    quantity: i32,
    (day, today): (Date, Date),
) -> Shown {
    let asked = crate::movement::of_offer((registry, rules), &offer.contents, to, quantity, day);
    Shown::of(&rules.ask(&asked), today)
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
        if file.gone.contains(&lot.giver) || file.gone.contains(&part.account) {
            return Some(Bar::Absent);
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
        // at the table it is moved to the table, too; and rules may ask for more the more there is
        let venue = meet.then_some(&file.round.says.area);
        let mut places: Vec<&AreaCode> = venue.into_iter().chain([&part.area]).collect();
        places.dedup();
        let most = lot.units.min(self.settings.cap).max(1);
        let counts = places.iter().flat_map(|to| [1, most].map(|packs| (*to, packs)));
        let whole = |packs: u32| i32::try_from(packs.saturating_mul(lot.per_unit)).unwrap_or(i32::MAX);
        // whatever bars one part of the movement bars the pair
        let bar = |atom: &Atom| match atom.verdict {
            Verdict::Prohibited => Some(Bar::Movement),
            Verdict::DocumentRequired if lot.papers.is_empty() => Some(Bar::Movement),
            Verdict::DocumentRequired | Verdict::Conditions | Verdict::NoRule => {
                (atom.open && self.unasked(atom)).then_some(Bar::NoRule)
            }
        };
        let bars = counts.flat_map(|(to, packs)| {
            self.atoms(offer, to, whole(packs)).iter().filter_map(bar).collect::<Vec<Bar>>()
        });
        let bars: Vec<Bar> = bars.collect();
        bars.iter().find(|bar| **bar == Bar::Movement).or(bars.first()).copied()
    }

    fn atoms(&self, offer: &Offer, to: &AreaCode, quantity: i32) -> Rc<Vec<Atom>> {
        let key = (offer.id, to.as_str().to_string(), quantity);
        if let Some(atoms) = self.asked.borrow().get(&key) {
            return atoms.clone();
        }
        let day = self.file.round.says.day;
        let on_file = (self.registry, self.rules);
        let asked = crate::movement::of_offer(on_file, &offer.contents, to.as_str(), quantity, day);
        let atoms = Rc::new(self.rules.ask(&asked).atoms);
        self.asked.borrow_mut().insert(key, atoms.clone());
        atoms
    }

    /// Whether it would cross from one province or country into another and no one has noted what the authority says.
    fn unasked(&self, atom: &Atom) -> bool {
        // no one knows from where: that may be anywhere
        let Some(from) = &atom.from else { return true };
        let places = self.rules.places();
        let is = |code: &AreaCode, place: &String| places.looked_at(code.as_str()) == *place;
        *from != atom.to && !self.file.advice.iter().any(|a| is(&a.from, from) && is(&a.to, &atom.to))
    }
}
