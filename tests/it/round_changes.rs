//! Swap rounds that are settled repeatedly on the day, and changes after the sealing.

use scionary_proto::v1;
use scionary_tests::{Raw, client::reason, on_both};

use crate::{
    clubs::{account_of, let_in, make},
    evidence::Club as People,
    rounds::{
        a_lot, any_of, audit, begin, bring, check_in, close, create, hand_over, join, lots, mine, offer,
        promised, round, seal, settings, settle, shares, verified, wish,
    },
};

/// Creates a club and its members; the first one is the organiser.
async fn club_of(people: &People, names: &[&str]) -> (String, Vec<Raw>) {
    let first = people.grower(names[0]).await;
    let club = make(&first, "Larkwater growers").await.unwrap().club_id;
    let mut all = vec![first];
    for name in &names[1..] {
        let who = people.grower(name).await;
        let_in(&all[0], &who, &club).await;
        all.push(who);
    }
    (club, all)
}

/// Settled repeatedly on the day: one pack handed over and another still promised, left-overs next to allotted packs,
/// and a member who declines.
#[tokio::test]
async fn settled_again_and_again() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (club, all) = club_of(&people, &["ann", "ben", "cat", "dan"]).await;
        let [ann, ben, cat, dan] = all.as_slice() else { unreachable!() };
        let generous = v1::RoundSettings { slack: Some(3), newcomers: Some(3), ..settings() };
        let id = create(ann, &club, round(generous)).await.unwrap().round_id;
        for who in &all {
            join(who, &id, "XB-NS").await.unwrap();
        }
        let wood = offer(ann, "Golek", 3).await;
        let other = offer(dan, "R2E2", 2).await;
        let lot = bring(ann, &id, &wood, 2).await.unwrap().to_string();
        let dans = bring(dan, &id, &other, 2).await.unwrap();
        let wish_for = |quantity| v1::SetWishesRequest {
            round_id: id.clone(),
            wishes: vec![v1::WishLine { rank: 1, quantity, accepts: vec![a_lot(&lot)] }],
        };
        ben.call(&wish_for(2)).await.unwrap();
        cat.call(&wish_for(1)).await.unwrap();
        wish(ann, &id, &[dans]).await.unwrap();
        seal(ann, &id).await.unwrap();
        assert_eq!(settle(ann, &id, false).await.unwrap().units, 3, "one each, and ann one of dan's");
        // Before the day there is no confirmation, and no settlement by check-in.
        let claim_id = mine(ben, &id).await.gets[0].claim_id.clone();
        let early = v1::ConfirmHandOverRequest { claim_id };
        let early = ben.call(&early).await;
        assert_eq!(reason(&early.unwrap_err()), "DAY_NOT_BEGUN");
        assert_eq!(reason(&settle(ann, &id, true).await.unwrap_err()), "ROUND_PHASE");
        begin(ann, &id).await;
        hand_over(ann, &id, &lot, "ben").await.unwrap();
        // cat is absent: her pack goes to ben, who has one already; earlier balances stay.
        let absent = v1::SetPresenceRequest {
            round_id: id.clone(),
            member: "cat of the club".into(),
            absent: Some(true),
        };
        ann.call(&absent).await.unwrap();
        settle(ann, &id, false).await.unwrap();
        for _ in 0..2 {
            let packs: Vec<i32> =
                shares(ann, &id).await.iter().filter(|s| s.lot_number == 1).map(|s| s.units).collect();
            assert_eq!(packs, [1, 1]);
            settle(ann, &id, false).await.unwrap();
        }
        let found = audit(ann, &id).await;
        assert!(found["input"]["members"].as_array().unwrap().iter().all(|m| m["balance"] == 0), "{found}");
        verified(&found);
        assert_eq!(promised(ann, &wood).await, 2, "two packs were brought, no third was promised");
        // ann declines what dan gives: it is not allotted to her again, and others can have it.
        let gets = mine(ann, &id).await.gets[0].claim_id.clone();
        let no = v1::WithdrawClaimRequest { claim_id: gets };
        ann.call(&no).await.unwrap();
        settle(ann, &id, false).await.unwrap();
        assert!(mine(ann, &id).await.gets.is_empty());
        // Left-overs: only checked-in lots, and a new settlement keeps them.
        let take = |units| v1::TakeLeftOverRequest {
            round_id: id.clone(),
            lot: dans.to_string(),
            units,
            member: String::new(),
        };
        let unseen = ben.call(&take(1)).await;
        assert_eq!(reason(&unseen.unwrap_err()), "BARRED_IN_ROUND");
        check_in(ann, &id, &dans.to_string()).await;
        ben.call(&take(2)).await.unwrap();
        settle(ann, &id, false).await.unwrap();
        let bens = mine(ben, &id).await;
        assert!(bens.gets.iter().any(|g| g.lot.as_ref().unwrap().number == dans && g.units == 2), "{bens:?}");
        // dan declines after all: no one else gets it, and it is dan's again when the round is over.
        let claim_id =
            bens.gets.iter().find(|g| g.lot.as_ref().unwrap().number == dans).unwrap().claim_id.clone();
        let no = v1::DeclineClaimRequest { claim_id, reason: "They have dried out.".into() };
        dan.call(&no).await.unwrap();
        assert!(lots(ben, &id, true).await.iter().all(|l| l.number != dans));
        assert_eq!(promised(dan, &other).await, 2);
        close(ann, &id).await;
        assert_eq!(promised(dan, &other).await, 0);
        assert_eq!(promised(ann, &wood).await, 2);
    })
    .await;
}

/// A block after the sealing makes the sealed round stale; a member who leaves the club takes their lots along.
#[tokio::test]
async fn what_comes_up_after_the_sealing() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (club, all) = club_of(&people, &["ann", "ben", "cat"]).await;
        let [ann, ben, cat] = all.as_slice() else { unreachable!() };
        let id = create(ann, &club, round(settings())).await.unwrap().round_id;
        for who in &all {
            join(who, &id, "XB-NS").await.unwrap();
        }
        let mut offers = Vec::new();
        for who in &all {
            let wood = offer(who, "Golek", 1).await;
            bring(who, &id, &wood, 1).await.unwrap();
            offers.push(wood);
        }
        wish(ann, &id, &[2]).await.unwrap();
        wish(ben, &id, &[1]).await.unwrap();
        // cat leaves the club: her lot is hers again.
        let leave = v1::LeaveClubRequest { club_id: club.clone() };
        cat.call(&leave).await.unwrap();
        assert_eq!(promised(cat, &offers[2]).await, 0);
        assert_eq!(lots(ann, &id, false).await.len(), 2);
        seal(ann, &id).await.unwrap();
        // ben blocks ann: the round cannot be settled, and no contact is shown.
        let block = v1::BlockMemberRequest { account_id: account_of(ann).await };
        ben.call(&block).await.unwrap();
        assert_eq!(reason(&settle(ann, &id, false).await.unwrap_err()), "SEALED_STALE");
        assert!(mine(ben, &id).await.gets.is_empty());
        let reopen = v1::ReopenRoundRequest { round_id: id.clone() };
        ann.call(&reopen).await.unwrap();
        // Limits that the lists exceed are refused while the lists can still change.
        let line = v1::WishLine {
            accepts: [("Golek", v1::Material::ScionWood), ("R2E2", v1::Material::Seed)]
                .into_iter()
                .map(|(cultivar, material)| any_of(cultivar, material))
                .collect(),
            ..Default::default()
        };
        let mixed = v1::SetWishesRequest { round_id: id.clone(), wishes: vec![line] };
        ben.call(&mixed).await.unwrap();
        let limited = v1::RoundSettings { cultivar_cap: 1, ..settings() };
        let tried = v1::PreviewRoundRequest { round_id: id.clone(), tried: Some(limited) };
        let refused = ann.call(&tried).await;
        assert_eq!(reason(&refused.unwrap_err()), "MIXED_WISHES");
        let change = |settings| v1::UpdateRoundRequest {
            round_id: id.clone(),
            round: Some(round(settings)),
            update_mask: Some(prost_types::FieldMask { paths: vec!["settings".into()] }),
            ..Default::default()
        };
        let refused = ann.call(&change(limited)).await;
        assert_eq!(reason(&refused.unwrap_err()), "MIXED_WISHES");
        let line = v1::WishLine { quantity: 3, accepts: mixed.wishes[0].accepts[..1].to_vec(), rank: 1 };
        let many = v1::SetWishesRequest { round_id: id.clone(), wishes: vec![line] };
        ben.call(&many).await.unwrap();
        let short = v1::RoundSettings { cap: Some(2), ..settings() };
        let refused = ann.call(&change(short)).await;
        assert_eq!(reason(&refused.unwrap_err()), "LISTS_TOO_LONG");
    })
    .await;
}
