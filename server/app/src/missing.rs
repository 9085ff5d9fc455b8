//! What is missing: which count would teach most, and which cultivars few members keep.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::{Arc, Mutex, PoisonError},
};

use scionary_domain::{
    evidence::{share::Quality, tally::SEVERAL},
    field::Fields,
    ids::{ClubId, CultivarId},
    keeping::Keeping,
    limits,
    lineage::Kind,
    offer::Material,
    seed::Answer,
    time::Date,
    trueness::{self, Observed, Source, Taught, Trueness, taught, taught_by_sprouts},
};
use scionary_store::missing_store::{self as store, Keeper, OffersOf};

use crate::{
    App, Call, Done, Error, KeepReply, Rule, UseCase, Write, clubs,
    registry::{Flowers, Partner, Record, Registry, Why},
};

/// Look-ups are kept so long.
const LOOKS_KEPT_DAYS: i64 = 400;
/// Look-ups of so many days weigh.
const LOOKS_READ_DAYS: i64 = 365;
/// Proposals that are shown unless asked for more or fewer.
const SHOWN: usize = 5;
/// Seed, and what holds it.
const SEED: [Material; 2] = [Material::Seed, Material::FruitForSeed];
/// Material that spreads a cultivar as it is.
const SPREADS: [Material; 5] = [
    Material::ScionWood,
    Material::Budwood,
    Material::Cutting,
    Material::GraftedPlant,
    Material::RootedPlant,
];

/// Look-ups that are not in the database yet, by record and day. Who looked is not known here.
#[derive(Default)]
pub(crate) struct Looks(Mutex<BTreeMap<(CultivarId, Date), i64>>);

impl Looks {
    fn add(&self, looks: impl IntoIterator<Item = ((CultivarId, Date), i64)>) {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        for (of, looks) in looks {
            *all.entry(of).or_default() += looks;
        }
    }
    fn take(&self) -> BTreeMap<(CultivarId, Date), i64> {
        std::mem::take(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

struct KeepLooks(Vec<(CultivarId, Date, i64)>);

impl UseCase for KeepLooks {
    type Out = ();
    async fn run(&self, write: &Write<'_>) -> Result<Done<()>, Error> {
        store::add_looks(write.tx, &self.0).await?;
        Ok(Done::quiet(()))
    }
}

/// Among which records a count is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Among {
    /// All of the registry.
    All,
    /// Those of which the caller has seed or plants.
    Mine,
    /// Those of which a club of the caller's has seed or plants.
    Club(ClubId),
}

/// What is asked for.
#[derive(Clone, Debug)]
pub struct AskCounts {
    /// One cultivar: an id or an exact name; empty for the most worthwhile.
    pub cultivar: String,
    /// A crop's key; empty for all.
    pub crop: String,
    /// Among which records.
    pub among: Among,
    /// How many proposals; 0 for a few.
    pub size: i32,
}

/// A proposal to count.
pub struct Proposed<'r> {
    /// The record.
    pub record: &'r Record,
    /// What counts of different size would teach; empty where a seedling is a new plant at any share.
    pub taught: Vec<Taught>,
    /// Look-ups in the last year.
    pub looked_up: u64,
    /// Who could make the count.
    pub source: Source,
    /// Open offers of its seed that the caller sees.
    pub seed_offers: u64,
    /// Whether its own seedlings were counted before.
    pub counted: bool,
    /// What a sowing of 20 seeds would teach about the share that send up several sprouts; only where one cultivar was
    /// asked for.
    pub sprouts: Option<Taught>,
    worth: f64,
}

/// How many keep a cultivar.
pub struct Kept<'r> {
    /// The record.
    pub record: &'r Record,
    /// Who keeps it, counted.
    pub keeping: Keeping,
    /// Members of the club that was asked for who keep it; none without a club.
    pub in_club: Option<usize>,
    /// Open offers of wood or plants of it that the caller sees.
    pub offers: u64,
}

/// The answer to who keeps what.
pub struct KeptFew<'r> {
    /// The rows, those that few keep first.
    pub rows: Vec<Kept<'r>>,
    /// Members who let their plants be counted.
    pub counted_members: u64,
}

fn of_record<T: Copy + Default + std::ops::Add<Output = T>>(
    by_id: &BTreeMap<CultivarId, T>,
    record: &Record,
) -> T {
    record.ids().filter_map(|id| by_id.get(&id).copied()).fold(T::default(), |a, b| a + b)
}

fn size(fields: &mut Fields, size: i32) -> Option<usize> {
    let most = limits::MATCHES_MAX;
    match usize::try_from(size) {
        Ok(0) => Some(SHOWN),
        Ok(n) if n <= most => Some(n),
        Ok(_) | Err(_) => {
            fields.wrong("page_size", format!("give 0 to {most}, not {size}"));
            None
        }
    }
}

impl App {
    /// Counts a look-up of a record.
    pub fn looked_up(&self, record: CultivarId) {
        self.0.looks.add([((record, self.clock().now().date()), 1)]);
    }

    /// Writes the look-ups that were counted, and forgets old ones.
    ///
    /// # Errors
    /// When the database is away; they are then kept for the next time.
    pub async fn keep_looks(&self) -> Result<(), Error> {
        let taken = self.0.looks.take();
        if taken.is_empty() {
            return Ok(());
        }
        let rows = taken.iter().map(|((id, day), looks)| (*id, *day, *looks)).collect();
        let call = self.system_call()?;
        let kept = self.write(&call, KeepLooks(rows), KeepReply::Yes, |()| Vec::new()).await;
        if kept.is_err() {
            self.0.looks.add(taken);
        }
        kept.map(|_| ())
    }

    /// The clubs of the caller, none for a visitor. A club that is asked about has to be one of them.
    async fn own_clubs(&self, call: &Call, asked: Option<ClubId>) -> Result<Vec<ClubId>, Error> {
        let own = match call.actor.id() {
            Some(account) => clubs::clubs_of(self.store().reader(), account).await?,
            None => Vec::new(),
        };
        if let Some(club) = asked {
            call.account()?;
            if !own.contains(&club) {
                return Err(Rule::ClubOnly.into());
            }
        }
        Ok(own)
    }

    /// Which records the caller, or a club, has seed or plants of.
    async fn hands(&self, call: &Call, among: Among) -> Result<Option<BTreeMap<CultivarId, Source>>, Error> {
        let (db, today) = (self.store().reader(), call.now.date());
        let mut found: BTreeMap<CultivarId, Source> = BTreeMap::new();
        let offers = match among {
            Among::All => return Ok(None),
            Among::Mine => {
                let account = call.account()?.id;
                for (cultivar, kind) in store::own_lots(db, account).await? {
                    let source = match kind {
                        Kind::Seed | Kind::FruitForSeed => Source::Seed,
                        Kind::MotherPlant | Kind::GraftedPlant | Kind::RootedPlant => Source::Plants,
                        Kind::ScionWood
                        | Kind::Budwood
                        | Kind::Cutting
                        | Kind::Seedling
                        | Kind::Rootstock => continue,
                    };
                    let best = found.entry(cultivar).or_insert(source);
                    *best = (*best).min(source);
                }
                store::open_offers(db, OffersOf::Giver(account), &SEED, today).await?
            }
            Among::Club(club) => {
                self.own_clubs(call, Some(club)).await?;
                for keeper in store::keepers(db, "", Some(club)).await? {
                    found.insert(keeper.cultivar, Source::Plants);
                }
                store::open_offers(db, OffersOf::Club(club), &SEED, today).await?
            }
        };
        found.extend(offers.into_keys().map(|id| (id, Source::Seed)));
        Ok(Some(found))
    }

    /// Which counts would teach most: narrowing, times look-ups, times the chance that someone can make them.
    ///
    /// # Errors
    /// All wrong fields; a name that is not on file; a club of others.
    pub async fn counts_to_make<'r>(
        &self,
        call: &Call,
        registry: &'r Registry,
        asked: &AskCounts,
    ) -> Result<Vec<Proposed<'r>>, Error> {
        let mut fields = Fields::new();
        fields.take("crop", registry.check_crop(&asked.crop).map_err(|e| e.expected));
        let size = size(&mut fields, asked.size);
        let size = fields.finish(size)?;
        let one = match asked.cultivar.trim() {
            "" => None,
            name => Some(registry.resolve("cultivar", name, &asked.crop)?),
        };
        let (db, today) = (self.store().reader(), call.now.date());
        let hands = self.hands(call, asked.among).await?;
        let looks = store::looks_since(db, today.plus_days(-LOOKS_READ_DAYS)).await?;
        let clubs = self.own_clubs(call, None).await?;
        let seed = store::open_offers(db, OffersOf::Seen(&clubs), &SEED, today).await?;
        let kept: BTreeSet<CultivarId> =
            store::keepers(db, &asked.crop, None).await?.into_iter().map(|k| k.cultivar).collect();
        let records: Vec<&Record> = match one {
            Some(record) => vec![record],
            None => registry
                .records()
                .filter(|r| asked.crop.is_empty() || r.cultivar.crop == asked.crop)
                .filter(|r| hands.as_ref().is_none_or(|own| r.ids().any(|id| own.contains_key(&id))))
                .collect(),
        };
        // What is not counted yet is known as well as all others of its crop that are not.
        let mut alike: HashMap<*const Trueness, (Arc<Trueness>, Vec<Taught>)> = HashMap::new();
        let mut found: Vec<Proposed<'r>> = Vec::new();
        for record in records {
            let asks = registry.asks_share(record) && registry.seed_of(record).0 != Answer::NotTrue;
            if !asks && one.is_none() {
                continue;
            }
            let known = registry.trueness(record);
            let taught = if asks {
                alike
                    .entry(Arc::as_ptr(&known))
                    .or_insert_with(|| (known.clone(), taught(&known, Quality::Counted)))
                    .1
                    .clone()
            } else {
                Vec::new()
            };
            let seed_offers = of_record(&seed, record);
            let in_hand = hands.as_ref().and_then(|own| record.ids().filter_map(|id| own.get(&id)).min());
            let source = match in_hand {
                Some(source) => *source,
                None if seed_offers > 0 => Source::Seed,
                None if record.ids().any(|id| kept.contains(&id)) => Source::Plants,
                None => Source::None,
            };
            let looked_up = of_record(&looks, record);
            let worth = taught.iter().map(|t| trueness::worth(t, looked_up, source)).fold(0.0, f64::max);
            let counted = known.own;
            let sprouts = one.and_then(|record| {
                let of = record.findings.iter().find(|finding| finding.descriptor == SEVERAL);
                taught_by_sprouts(&of.map(Observed::of).unwrap_or_default(), Quality::Counted)
            });
            found.push(Proposed { record, taught, looked_up, source, seed_offers, counted, sprouts, worth });
        }
        found.sort_by(|a, b| {
            b.worth
                .total_cmp(&a.worth)
                .then_with(|| a.record.cultivar.full_name().cmp(&b.record.cultivar.full_name()))
                .then_with(|| a.record.cultivar.id.cmp(&b.record.cultivar.id))
        });
        found.truncate(size);
        Ok(found)
    }

    /// How many members keep a cultivar, or which cultivars the fewest keep: of those who let their plants be counted.
    ///
    /// # Errors
    /// All wrong fields; a name that is not on file; a club of others.
    pub async fn kept_by_few<'r>(
        &self,
        call: &Call,
        registry: &'r Registry,
        (cultivar, crop): (&str, &str),
        club: Option<ClubId>,
        asked_size: i32,
    ) -> Result<KeptFew<'r>, Error> {
        let mut fields = Fields::new();
        fields.take("crop", registry.check_crop(crop).map_err(|e| e.expected));
        let size = size(&mut fields, asked_size);
        let size = fields.finish(size)?;
        let one = match cultivar.trim() {
            "" => None,
            name => Some(registry.resolve("cultivar", name, crop)?),
        };
        let (db, today) = (self.store().reader(), call.now.date());
        let own_clubs = self.own_clubs(call, club).await?;
        let by_record = |keepers: Vec<Keeper>| {
            let mut of: BTreeMap<CultivarId, Vec<Keeper>> = BTreeMap::new();
            for keeper in keepers {
                let Some(record) = registry.record(keeper.cultivar) else { continue };
                of.entry(record.cultivar.id).or_default().push(keeper);
            }
            of
        };
        let all = by_record(store::keepers(db, crop, None).await?);
        let of_club = match club {
            Some(club) => Some(by_record(store::keepers(db, crop, Some(club)).await?)),
            None => None,
        };
        let offers = store::open_offers(db, OffersOf::Seen(&own_clubs), &SPREADS, today).await?;
        let looks = store::looks_since(db, today.plus_days(-LOOKS_READ_DAYS)).await?;
        let ids: Vec<CultivarId> = match one {
            Some(record) => vec![record.cultivar.id],
            None => of_club.as_ref().unwrap_or(&all).keys().copied().collect(),
        };
        let count = |keepers: Option<&Vec<Keeper>>| {
            Keeping::of(keepers.into_iter().flatten().map(|k| (k.account, k.area.as_ref())))
        };
        let mut rows: Vec<Kept<'r>> = ids
            .into_iter()
            .filter_map(|id| registry.record(id).map(|record| (id, record)))
            .map(|(id, record)| Kept {
                record,
                keeping: count(all.get(&id)),
                in_club: of_club.as_ref().map(|of| count(of.get(&id)).members),
                offers: of_record(&offers, record),
            })
            .collect();
        // The fewest first; of those, what no one offers, and what is asked for most.
        rows.sort_by(|a, b| {
            let asked = |kept: &Kept<'_>| of_record(&looks, kept.record);
            (a.keeping.members, a.offers > 0)
                .cmp(&(b.keeping.members, b.offers > 0))
                .then_with(|| asked(b).cmp(&asked(a)))
                .then_with(|| a.record.cultivar.full_name().cmp(&b.record.cultivar.full_name()))
        });
        rows.truncate(size);
        Ok(KeptFew { rows, counted_members: store::counted_members(db).await? })
    }
}

/// A cultivar that may help another to set fruit, and where it is.
pub struct PartnerKept<'r> {
    /// The partner.
    pub partner: Partner<'r>,
    /// Open offers of wood or plants of it that the caller sees.
    pub offers: u64,
    /// Members of the club that was asked for who keep it; none without a club.
    pub in_club: Option<usize>,
}

impl App {
    /// What is on file of a cultivar's pollination, with partners: those on offer, or kept in a club of the caller's,
    /// before the others of their kind.
    ///
    /// # Errors
    /// All wrong fields; a name that is not on file; a club of others.
    pub async fn partners<'r>(
        &self,
        call: &Call,
        registry: &'r Registry,
        (cultivar, crop): (&str, &str),
        club: Option<ClubId>,
        asked_size: i32,
    ) -> Result<(&'r Record, Flowers<'r>, Vec<PartnerKept<'r>>), Error> {
        let mut fields = Fields::new();
        fields.take("crop", registry.check_crop(crop).map_err(|e| e.expected));
        let size = size(&mut fields, asked_size);
        let size = fields.finish(size)?;
        let record = registry.resolve("cultivar", cultivar, crop)?;
        let (db, today) = (self.store().reader(), call.now.date());
        let own_clubs = self.own_clubs(call, club).await?;
        let in_club: Option<Vec<CultivarId>> = match club {
            Some(club) => {
                let keepers = store::keepers(db, &record.cultivar.crop, Some(club)).await?;
                Some(keepers.into_iter().map(|k| k.cultivar).collect())
            }
            None => None,
        };
        let offers = store::open_offers(db, OffersOf::Seen(&own_clubs), &SPREADS, today).await?;
        let mut flowers = registry.flowers(record);
        let mut rows: Vec<PartnerKept<'r>> = std::mem::take(&mut flowers.partners)
            .into_iter()
            .map(|partner| PartnerKept {
                offers: of_record(&offers, partner.record),
                in_club: in_club
                    .as_ref()
                    .map(|kept| kept.iter().filter(|id| partner.record.ids().any(|own| own == **id)).count()),
                partner,
            })
            .filter(|row| row.in_club != Some(0))
            .collect();
        // The sort is stable: those that sources name stay before the others, and names in their order.
        rows.sort_by_key(|row| (row.partner.why == Why::OtherType, row.offers == 0));
        rows.truncate(size);
        Ok((record, flowers, rows))
    }
}

/// Forgets look-ups that are too old to weigh.
pub(crate) async fn forget(write: &Write<'_>) -> Result<(), Error> {
    store::forget_looks(write.tx, write.call.now.date().plus_days(-LOOKS_KEPT_DAYS)).await?;
    Ok(())
}
