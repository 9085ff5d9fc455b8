//! Swap days at random: whatever members and organisers do in whatever order, what is promised adds up, settling again never
//! sticks, and a giver's word stays what it was.

use std::collections::BTreeMap;

use scionary_proto::v1;
use scionary_tests::{Raw, client::reason, on_both, rounds::Numbers};
use tonic::{Code, Status};

use crate::{
    clubs::{let_in, make},
    evidence::Club as People,
    rounds::{
        a_lot, audit, begin, bring, check_in, close, create, hand_over, join, lots, mine, offer, promised,
        round, seal, settings, settle, shares, verified, why, wish,
    },
};

pub const NAMES: [&str; 6] = ["ann", "ben", "cat", "dan", "eve", "fay"];

/// A story: a round of five members, of whom the first arranges it; the sixth may walk in.
pub struct Story<'a> {
    people: &'a [Raw],
    pub round: String,
    /// Offers of the lots, with the quantity that each holds for the round.
    offers: BTreeMap<i32, (usize, String, i32)>,
    /// What givers have said: the claim and its quantity.
    said: BTreeMap<String, (usize, i32)>,
    random: Numbers,
    told: Vec<String>,
}

/// Returns whether a refusal is one that people understand: nothing broke.
fn fair(done: Result<(), Status>) -> Option<String> {
    let Err(status) = done else { return None };
    let known = [
        Code::FailedPrecondition,
        Code::InvalidArgument,
        Code::NotFound,
        Code::ResourceExhausted,
        Code::PermissionDenied,
    ];
    assert!(known.contains(&status.code()) && !reason(&status).is_empty(), "{status:?}");
    Some(reason(&status))
}

impl<'a> Story<'a> {
    pub async fn begin(people: &'a [Raw], club: &str, seed: u64) -> Self {
        let mut random = Numbers::new(seed);
        let says = v1::RoundSettings {
            cap: Some(1 + random.below(4) as i32),
            slack: Some(random.below(3) as i32),
            newcomers: Some(random.below(3) as i32),
            ..settings()
        };
        let id = create(&people[0], club, round(says)).await.unwrap().round_id;
        let mut offers = BTreeMap::new();
        for (at, who) in people.iter().enumerate().take(5) {
            join(who, &id, "XB-NS").await.unwrap();
            for _ in 0..=random.below(2) {
                let packs = 1 + random.below(3) as i32;
                let wood = offer(who, ["Golek", "R2E2"][random.below(2)], packs + 1).await;
                let number = bring(who, &id, &wood, packs).await.unwrap();
                offers.insert(number, (at, wood, packs));
            }
        }
        let mut any = false;
        for (at, who) in people.iter().enumerate().take(5) {
            let mut wished: Vec<i32> =
                offers.iter().filter(|(_, (giver, ..))| *giver != at).map(|(number, _)| *number).collect();
            while wished.len() > 4 || (!wished.is_empty() && random.chance(20)) {
                let at = random.below(wished.len());
                wished.remove(at);
            }
            if says.cap.unwrap_or(0) < 2 {
                wished.truncate(3);
            }
            let line = |lot: &i32| v1::WishLine {
                quantity: 1 + random.clone().below(says.cap.unwrap_or(1).min(2) as usize) as i32,
                accepts: vec![a_lot(lot)],
                ..Default::default()
            };
            any |= !wished.is_empty();
            let wishes = wished.iter().map(line).collect();
            who.call(&v1::SetWishesRequest { round_id: id.clone(), wishes }).await.unwrap();
        }
        if !any {
            let lot = *offers.iter().find(|(_, (giver, ..))| *giver != 0).unwrap().0;
            wish(&people[0], &id, &[lot]).await.unwrap();
        }
        seal(&people[0], &id).await.unwrap();
        settle(&people[0], &id, false).await.unwrap();
        self::begin(&people[0], &id).await;
        Self { people, round: id, offers, said: BTreeMap::new(), random, told: Vec::new() }
    }

    fn lot(&mut self) -> i32 {
        let at = self.random.below(self.offers.len());
        *self.offers.keys().nth(at).unwrap()
    }

    fn who(&mut self) -> usize {
        self.random.below(5)
    }

    /// One step at random. Returns what was done, and why it was refused.
    async fn step(&mut self) {
        let (lot, who, which) = (self.lot(), self.who(), self.random.below(13));
        let (organiser, round) = (&self.people[0], self.round.clone());
        let member = NAMES[who].to_string();
        let done = match which {
            0 | 1 => {
                let came = if self.random.chance(40) { 1 } else { 0 };
                let here = Some(self.random.chance(85));
                let came = if here == Some(true) { came } else { 0 };
                let request = v1::CheckInLotRequest { round_id: round, lot: lot.to_string(), here, came };
                organiser.call(&request).await.map(|_| ())
            }
            2 => {
                let absent = Some(self.random.chance(60));
                organiser.call(&v1::SetPresenceRequest { round_id: round, member, absent }).await.map(|_| ())
            }
            3 | 4 => hand_over(organiser, &round, &lot.to_string(), &member).await.map(|_| ()),
            5 => {
                let request = v1::UndoHandOverRequest { round_id: round, lot: lot.to_string(), member };
                organiser.call(&request).await.map(|_| ())
            }
            6 | 7 => self.confirm(who).await,
            8 => {
                let part = mine(&self.people[who], &round).await;
                match part.gets.first() {
                    Some(get) => {
                        let claim_id = get.claim_id.clone();
                        self.people[who].call(&v1::WithdrawClaimRequest { claim_id }).await.map(|_| ())
                    }
                    None => Ok(()),
                }
            }
            9 => {
                let part = mine(&self.people[who], &round).await;
                match part.gives.first() {
                    Some(give) => {
                        let (claim_id, reason) = (give.claim_id.clone(), "It has dried out.".to_string());
                        self.people[who].call(&v1::DeclineClaimRequest { claim_id, reason }).await.map(|_| ())
                    }
                    None => Ok(()),
                }
            }
            10 => {
                let for_other = self.random.chance(50);
                let by = if for_other { organiser } else { &self.people[who] };
                let member = if for_other { member } else { String::new() };
                let request =
                    v1::TakeLeftOverRequest { round_id: round, lot: lot.to_string(), units: 1, member };
                by.call(&request).await.map(|_| ())
            }
            _ => {
                let only = self.random.chance(30);
                settle(organiser, &round, only).await.map(|_| ())
            }
        };
        let settled = which > 10;
        let refused = fair(done);
        self.told.push(format!("{which} lot {lot} {}: {refused:?}", NAMES[who]));
        if settled {
            assert_eq!(refused, None, "settling again is never stuck: {:#?}", self.told);
        }
        self.adds_up(true).await;
    }

    /// One side says that something has changed hands.
    async fn confirm(&mut self, who: usize) -> Result<(), Status> {
        let part = mine(&self.people[who], &self.round).await;
        let gives = self.random.chance(50);
        let of = if gives { &part.gives } else { &part.gets };
        let Some(share) = of.iter().find(|s| s.state() == v1::ClaimState::Accepted) else { return Ok(()) };
        let claim_id = share.claim_id.clone();
        self.people[who].call(&v1::ConfirmHandOverRequest { claim_id: claim_id.clone() }).await?;
        if gives {
            let claim = self.claim(who, &claim_id).await;
            self.said.insert(claim_id, (who, claim.quantity));
        }
        Ok(())
    }

    async fn claim(&self, who: usize, id: &str) -> v1::Claim {
        let reply: v1::GetClaimResponse =
            self.people[who].call(&v1::GetClaimRequest { claim_id: id.into() }).await.unwrap();
        reply.claim.unwrap()
    }

    /// What is promised adds up, for every lot.
    async fn adds_up(&self, open: bool) {
        let all = shares(&self.people[0], &self.round).await;
        let seen = lots(&self.people[0], &self.round, false).await;
        for (number, (giver, offer, packs)) in &self.offers {
            let of_lot: Vec<_> = all.iter().filter(|s| s.lot_number == *number).collect();
            let shared: i32 = of_lot.iter().map(|s| s.units).sum();
            assert!(shared <= *packs, "lot {number}: {shared} of {packs}: {:#?}", self.told);
            let done: i32 =
                of_lot.iter().filter(|s| s.state() == v1::ClaimState::HandedOver).map(|s| s.units).sum();
            let lot = seen.iter().find(|l| l.number == *number).unwrap();
            assert!(lot.left + shared <= *packs, "lot {number}: {} left: {:#?}", lot.left, self.told);
            assert!(done <= shared);
            let held = promised(&self.people[*giver], offer).await;
            let expected = if open { *packs } else { shared };
            assert_eq!(held, expected, "lot {number}: {:#?}", self.told);
        }
        // What a giver said of a number of packs holds for that number, or for none.
        for (id, (who, quantity)) in &self.said {
            let claim = self.claim(*who, id).await;
            if claim.given && matches!(claim.state(), v1::ClaimState::Accepted | v1::ClaimState::HandedOver) {
                assert_eq!(claim.quantity, *quantity, "{:#?}", self.told);
            }
        }
    }
}

/// A fig that is on no list comes to the table all the same: entered as its grower calls it, marked, offered and brought.
#[tokio::test]
async fn what_is_not_on_file_is_taken_as_said() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let ann = people.grower("ann").await;
        let enter = |name: &str| v1::EnterCultivarRequest { crop: "fig".into(), name: name.into() };
        let made: v1::EnterCultivarResponse = ann.call(&enter("Grandmother's Black")).await.unwrap();
        assert!(!made.on_file);
        let again: v1::EnterCultivarResponse = ann.call(&enter("grandmothers black")).await.unwrap();
        assert!(again.on_file && again.cultivar_id == made.cultivar_id);
        let record = crate::evidence::record(&ann, &made.cultivar_id).await;
        assert!(record.notes.contains("no curator has looked at it"), "{}", record.notes);
        let usual = scionary_tests::samples::draft();
        let health = v1::HealthDeclaration {
            form: v1::MaterialForm::Leafless.into(),
            ..usual.health.clone().unwrap_or_default()
        };
        let draft = v1::OfferDraft {
            health: Some(health),
            cultivar: "Grandmother's Black".into(),
            crop: "fig".into(),
            material: v1::Material::Cutting.into(),
            unit: v1::QuantityUnit::Sticks.into(),
            quantity: 6,
            ..usual
        };
        let offer: v1::CreateOfferResponse =
            ann.call(&v1::CreateOfferRequest { offer: Some(draft) }).await.unwrap();
        let offer = offer.offer.unwrap().offer_id;
        let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
        let id = create(&ann, &club, round(settings())).await.unwrap().round_id;
        join(&ann, &id, "XB-NS").await.unwrap();
        assert_eq!(bring(&ann, &id, &offer, 3).await.unwrap(), 1);
        let seen = lots(&ann, &id, false).await;
        assert_eq!(
            (seen[0].cultivar_name.as_str(), seen[0].material()),
            ("Grandmother's Black", v1::Material::Cutting)
        );
        let wrong = ann.call(&v1::EnterCultivarRequest { crop: "stone".into(), name: " ".into() }).await;
        assert_eq!(scionary_tests::client::wrong_fields(&wrong.unwrap_err()), ["name", "crop"]);
    })
    .await;
}

/// Stories of one database: what a club's past leaves behind would slow down those that follow.
const STORIES_EACH: u64 = 50;

/// Plays stories: a few in each run, a thousand in the long form, or those of `SCIONARY_STORIES`, such as 0..500.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn days_at_random_add_up() {
    let asked = std::env::var("SCIONARY_STORIES").ok();
    let asked = asked.as_deref().and_then(|range| range.split_once(".."));
    let stories = match asked {
        Some((from, to)) => from.parse().unwrap()..to.parse().unwrap(),
        None if std::env::var_os("SCIONARY_LONG").is_some() => 0..1_000,
        None => 0..6,
    };
    let mut from = stories.start;
    while from < stories.end {
        let until = stories.end.min(from + STORIES_EACH);
        on_both(async |url| play(&url, from..until).await).await;
        from = until;
    }
}

async fn play(url: &str, stories: std::ops::Range<u64>) {
    let people = People::open(url).await;
    let mut all = Vec::new();
    for name in &NAMES[..5] {
        all.push(people.grower(name).await);
    }
    for story in stories {
        let club = make(&all[0], &format!("Growers of story {story}")).await.unwrap().club_id;
        for who in &all[1..] {
            let_in(&all[0], who, &club).await;
        }
        let mut told = Story::begin(&all, &club, story).await;
        told.adds_up(true).await;
        for _ in 0..25 {
            told.step().await;
        }
        let audit = audit(&all[0], &told.round).await;
        verified(&audit);
        close(&all[0], &told.round).await;
        told.adds_up(false).await;
        for (_, (giver, offer, _)) in told.offers {
            let request = v1::WithdrawOfferRequest { offer_id: offer, version: 0 };
            all[giver].call(&request).await.unwrap();
        }
        let request = v1::CloseClubRequest { club_id: club };
        all[0].call(&request).await.unwrap();
    }
}

/// A day with a wrong tick, a short bringer, a walk-in, an absent giver, and an organiser who takes for someone.
#[tokio::test]
async fn a_day_forgives() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let ann = people.grower("ann").await;
        let club = make(&ann, "Larkwater growers").await.unwrap().club_id;
        let mut all = vec![ann];
        for name in &NAMES[1..] {
            let who = people.grower(name).await;
            if *name != "fay" {
                let_in(&all[0], &who, &club).await;
            }
            all.push(who);
        }
        let [ann, ben, cat, dan, _, fay] = all.as_slice() else { unreachable!() };
        let says = v1::RoundSettings { slack: Some(3), newcomers: Some(3), ..settings() };
        let id = create(ann, &club, round(says)).await.unwrap().round_id;
        for who in &all[..4] {
            join(who, &id, "XB-NS").await.unwrap();
        }
        let anns = offer(ann, "Golek", 3).await;
        let lot = bring(ann, &id, &anns, 3).await.unwrap();
        for who in [ben, cat, dan] {
            wish(who, &id, &[lot]).await.unwrap();
        }
        seal(ann, &id).await.unwrap();
        settle(ann, &id, false).await.unwrap();
        // The day is in a week: beginning is refused, and with the word "early" it can be taken back.
        let early = |early, undo| v1::StartHandOverRequest { round_id: id.clone(), early, undo };
        assert_eq!(reason(&ann.call(&early(false, false)).await.unwrap_err()), "DAY_TOO_EARLY");
        ann.call(&early(true, false)).await.unwrap();
        let back: v1::StartHandOverResponse = ann.call(&early(false, true)).await.unwrap();
        assert_eq!(back.round.unwrap().phase(), v1::RoundPhase::Allotted);
        begin(ann, &id).await;
        // Two of three packs came. One of those to whom they are promised goes without, by settling again.
        let short =
            v1::CheckInLotRequest { round_id: id.clone(), lot: "1".into(), here: Some(true), came: 2 };
        let counted: v1::CheckInLotResponse = ann.call(&short).await.unwrap();
        assert_eq!(counted.short, 1);
        hand_over(ann, &id, "1", "ben").await.unwrap();
        // The tick was for cat: it is taken back, both get a notice, and the log names who noted what.
        let undo = |member: &str| v1::UndoHandOverRequest {
            round_id: id.clone(),
            lot: "1".into(),
            member: member.into(),
        };
        assert_eq!(reason(&ann.call(&undo("cat")).await.unwrap_err()), "NOT_HANDED_OVER");
        assert_eq!(ben.call(&undo("ben")).await.unwrap_err().code(), Code::PermissionDenied);
        ann.call(&undo("ben")).await.unwrap();
        assert_eq!(mine(ben, &id).await.gets[0].state(), v1::ClaimState::Accepted);
        let lots_of_ben: v1::ListMyLotsResponse = ben.call(&v1::ListMyLotsRequest::default()).await.unwrap();
        assert!(lots_of_ben.lots.is_empty(), "the lot of the wrong tick has ended: {lots_of_ben:?}");
        let under_way = ann.call(&early(false, true)).await;
        assert!(under_way.is_ok(), "nothing has changed hands any more");
        begin(ann, &id).await;
        hand_over(ann, &id, "1", "cat").await.unwrap();
        hand_over(ann, &id, "1", "ben").await.unwrap();
        // A third would be one more than came.
        assert_eq!(reason(&hand_over(ann, &id, "1", "dan").await.unwrap_err()), "FEWER_CAME");
        settle(ann, &id, false).await.unwrap();
        let dans = mine(dan, &id).await;
        assert!(dans.gets.is_empty());
        assert_eq!(why(&dans.wishes[0]), "All of it has been handed over to others.");
        // Someone walks in: a member of the club, with something to give.
        let add = v1::AddRoundMemberRequest { round_id: id.clone(), member: "fay".into() };
        assert_eq!(reason(&ann.call(&add).await.unwrap_err()), "NOT_FOUND");
        let_in(ann, fay, &club).await;
        let added: v1::AddRoundMemberResponse = ann.call(&add).await.unwrap();
        assert_eq!(added.number, 5);
        let fays = offer(fay, "R2E2", 2).await;
        let brought = bring(fay, &id, &fays, 2).await.unwrap();
        // dan has no telephone with him: an organiser takes it for him, and for no one else may anyone.
        let take = |member: &str| v1::TakeLeftOverRequest {
            round_id: id.clone(),
            lot: brought.to_string(),
            units: 1,
            member: member.into(),
        };
        assert_eq!(cat.call(&take("dan")).await.unwrap_err().code(), Code::PermissionDenied);
        ann.call(&take("dan")).await.unwrap();
        assert_eq!(mine(dan, &id).await.gets.len(), 1);
        // Closing while it is not handed over is refused, unless it is said.
        let close = |pending| v1::CloseRoundRequest { round_id: id.clone(), pending };
        assert_eq!(reason(&ann.call(&close(false)).await.unwrap_err()), "HAND_OVERS_PENDING");
        check_in(ann, &id, &brought.to_string()).await;
        hand_over(ann, &id, &brought.to_string(), "dan").await.unwrap();
        ann.call(&close(false)).await.unwrap();
        assert_eq!(promised(fay, &fays).await, 1);
        let log = v1::ListRoundEventsRequest { round_id: id.clone(), page_size: 100, ..Default::default() };
        let log: v1::ListRoundEventsResponse = ann.call(&log).await.unwrap();
        use v1::RoundEventKind as Event;
        let kinds: Vec<Event> = log.events.iter().map(v1::RoundEvent::kind).collect();
        let expected = [
            Event::Sealed,
            Event::Settled,
            Event::Began,
            Event::Began,
            Event::Counted,
            Event::HandedOver,
            Event::TakenBack,
            Event::Began,
            Event::HandedOver,
            Event::HandedOver,
            Event::Settled,
            Event::Joined,
            Event::Brought,
            Event::LeftOver,
            Event::Arrived,
            Event::HandedOver,
            Event::Closed,
        ];
        assert_eq!(kinds, expected);
        assert!(log.events.iter().all(|e| e.at.is_some() && !e.by_name.is_empty()));
        assert_eq!(
            cat.call(&v1::ListRoundEventsRequest { round_id: id.clone(), ..Default::default() })
                .await
                .unwrap_err()
                .code(),
            Code::PermissionDenied
        );
        verified(&audit(ann, &id).await);
    })
    .await;
}
