//! A swap day away from the server: run from a file, brought home step by step, each step once.

use std::{
    collections::BTreeSet,
    io::{Read as _, Write as _},
    path::{Path, PathBuf},
    process::Command,
};

use base64::{Engine as _, engine::general_purpose::STANDARD as BASE64};
use prost::Message as _;
use scionary_proto::{Rpc, v1};
use scionary_server::day::{self, Opened};
use scionary_tests::{Raw, client::reason, on_both, rounds::Numbers, samples::draft, server};
use tonic::{Code, Status};

use crate::{
    clubs::{let_in, make},
    evidence::Club as People,
    round_days::{NAMES, Story},
    rounds::{a_lot, audit, hand_over, lots, settle, shares, verified},
};

const WORD: &str = "creek shed 1987";

async fn take_along(who: &Raw, round: &str, word: &str) -> Result<String, Status> {
    let request = v1::TakeRoundAlongRequest { round_id: round.into(), word: word.into() };
    let chunks = who.stream(Rpc::RoundTakeRoundAlong.path(), request.encode_to_vec()).await?;
    let bytes = chunks.iter().flat_map(|c| v1::TakeRoundAlongResponse::decode(c.as_slice()).unwrap().chunk);
    Ok(String::from_utf8(bytes.collect()).unwrap())
}

/// Sends a file home, in calls of `each` steps.
async fn bring_home(who: &Raw, text: &str, each: usize) -> Result<(i32, Vec<v1::BroughtStep>), Status> {
    let lines: Vec<&str> = text.lines().collect();
    let (mut known, mut all) = (None, Vec::new());
    for steps in lines[4..].chunks(each) {
        let request = v1::BringRoundHomeRequest {
            header: lines[0].into(),
            signature: lines[3].into(),
            steps: steps.iter().map(|s| (*s).to_string()).collect(),
        };
        let reply = who.call(&request).await?;
        known.get_or_insert(reply.known);
        all.extend(reply.steps);
    }
    Ok((known.unwrap_or(0), all))
}

/// A file in a folder of its own.
struct Shed {
    folder: tempfile::TempDir,
}

impl Shed {
    fn new(text: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("swap.day"), text).unwrap();
        Self { folder }
    }
    fn path(&self) -> PathBuf {
        self.folder.path().join("swap.day")
    }
    fn text(&self) -> String {
        std::fs::read_to_string(self.path()).unwrap()
    }
    async fn open(&self) -> (Opened, Raw) {
        let opened = open(&self.path(), WORD).await.unwrap();
        let ann = Raw::at(&opened.running.address().to_string()).await;
        let ann = ann.sign_in("ann", WORD).await.unwrap();
        (opened, ann)
    }
}

async fn open(path: &Path, word: &str) -> anyhow::Result<Opened> {
    day::open(path, word, server::settings("sqlite:unused", &[])).await
}

async fn stop(opened: Opened) {
    opened.running.stop().await.unwrap();
}

/// The log from the day's begin on, without what tells only of the file.
async fn log(who: &Raw, round: &str) -> Vec<v1::RoundEvent> {
    let (mut all, mut page_token) = (Vec::new(), String::new());
    loop {
        let request = v1::ListRoundEventsRequest { round_id: round.into(), page_size: 100, page_token };
        let reply = who.call(&request).await.unwrap();
        all.extend(reply.events);
        page_token = reply.next_page_token;
        if page_token.is_empty() {
            break;
        }
    }
    let of_file = [v1::RoundEventKind::TakenAlong, v1::RoundEventKind::BroughtHome];
    all.retain(|e| !of_file.contains(&e.kind()));
    for event in &mut all {
        event.number = 0;
    }
    all
}

/// What a round has come to: its shares and what is left of its lots, with the codes of all lots that changed hands.
async fn state(who: &Raw, round: &str) -> (Vec<String>, Vec<(i32, i32, i32)>) {
    let mut all: Vec<String> = shares(who, round)
        .await
        .iter()
        .map(|s| {
            format!(
                "{} {} {} {:?} {}>{}",
                s.lot_number,
                s.units,
                s.quantity,
                s.state(),
                s.giver_number,
                s.taker_number
            )
        })
        .collect();
    all.sort();
    let left = lots(who, round, false).await.iter().map(|l| (l.number, l.left, l.came)).collect();
    (all, left)
}

/// The codes of the lots that hand-overs made.
async fn codes(app: &scionary_app::App, round: &str) -> BTreeSet<String> {
    let reader = app.store().reader();
    let id = round.parse().unwrap();
    let mut all = BTreeSet::new();
    for claim in scionary_store::claim_store::of_round(reader, id).await.unwrap() {
        for lot in scionary_store::lot_store::of_claim(reader, claim.id).await.unwrap() {
            all.insert(format!("{} {} {}", claim.id, lot.code, lot.ended_on.is_some()));
        }
    }
    all
}

async fn club_of_five(people: &People) -> (Vec<Raw>, String) {
    let mut all = Vec::new();
    for name in &NAMES[..5] {
        all.push(people.grower(name).await);
    }
    let club = make(&all[0], "Growers of the creek").await.unwrap().club_id;
    for who in &all[1..] {
        let_in(&all[0], who, &club).await;
    }
    (all, club)
}

/// One step of an organiser at random. Whether it was done.
async fn step(ann: &Raw, round: &str, random: &mut Numbers) -> bool {
    let numbers: Vec<i32> = lots(ann, round, false).await.iter().map(|l| l.number).collect();
    let lot = numbers[random.below(numbers.len())].to_string();
    let (round_id, member) = (round.to_string(), NAMES[random.below(5)].to_string());
    match random.below(9) {
        0 | 1 => {
            let here = Some(random.chance(85));
            let came = if here == Some(true) && random.chance(40) { 1 } else { 0 };
            ann.call(&v1::CheckInLotRequest { round_id, lot, here, came }).await.is_ok()
        }
        2 => {
            let absent = Some(random.chance(50));
            ann.call(&v1::SetPresenceRequest { round_id, member, absent }).await.is_ok()
        }
        3..=5 => hand_over(ann, round, &lot, &member).await.is_ok(),
        6 => ann.call(&v1::UndoHandOverRequest { round_id, lot, member }).await.is_ok(),
        7 => ann.call(&v1::TakeLeftOverRequest { round_id, lot, units: 1, member }).await.is_ok(),
        _ => settle(ann, round, random.chance(30)).await.is_ok(),
    }
}

/// Whatever an organiser does in the shed stands in the same way at home: the shares, what is left, the log with its times,
/// and the codes that were printed on labels. Steps that were refused there are not in the file.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn days_away_come_home_as_they_were() {
    let stories = if std::env::var_os("SCIONARY_LONG").is_some() { 200 } else { 3 };
    on_both(async |url| {
        let people = People::open(&url).await;
        let (all, _) = club_of_five(&people).await;
        let ann = &all[0];
        for story in 0..stories {
            let club = make(ann, &format!("Shed {story}")).await.unwrap().club_id;
            for who in &all[1..] {
                let_in(ann, who, &club).await;
            }
            let told = Story::begin(&all, &club, 700 + story).await;
            let round = told.round.clone();
            let shed = Shed::new(&take_along(ann, &round, WORD).await.unwrap());
            let (opened, there) = shed.open().await;
            let mut random = Numbers::new(story);
            let (mut done, mut tried) = (0, 0);
            while done < 12 && tried < 60 {
                done += usize::from(step(&there, &round, &mut random).await);
                tried += 1;
            }
            assert!(done > 3 && shed.text().lines().count() == 4 + done, "{done} of {tried}");
            verified(&audit(&there, &round).await.clone());
            let expected = (state(&there, &round).await, log(&there, &round).await);
            let printed = codes(opened.running.app(), &round).await;
            stop(opened).await;

            // A new start runs the same steps to the same end.
            let (opened, there) = shed.open().await;
            assert_eq!(opened.troubles, Vec::<String>::new());
            assert_eq!(opened.file.steps.len(), done);
            assert_eq!((state(&there, &round).await, log(&there, &round).await), expected);
            assert_eq!(codes(opened.running.app(), &round).await, printed);
            stop(opened).await;

            let (known, steps) = bring_home(ann, &shed.text(), 5).await.unwrap();
            assert_eq!((known, steps.len()), (0, done));
            assert!(steps.iter().all(|s| s.outcome() == v1::StepOutcome::Taken), "{steps:#?}");
            assert_eq!((state(ann, &round).await, log(ann, &round).await), expected);
            assert_eq!(codes(people.server.running.app(), &round).await, printed);
            verified(&audit(ann, &round).await);

            // A second time nothing changes.
            let (known, steps) = bring_home(ann, &shed.text(), 200).await.unwrap();
            assert_eq!(known as usize, done);
            assert!(steps.iter().all(|s| s.outcome() == v1::StepOutcome::Before));
            assert_eq!((state(ann, &round).await, log(ann, &round).await), expected);
        }
    })
    .await;
}

/// Two copies of one file are used in two sheds. Both come home: steps of both that fit are taken, the others come back with
/// the reason, and the reply says that there was another copy.
#[tokio::test]
async fn a_second_copy_is_merged_and_told() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (all, club) = club_of_five(&people).await;
        let ann = &all[0];
        let told = Story::begin(&all, &club, 41).await;
        let round = told.round.clone();
        let text = take_along(ann, &round, WORD).await.unwrap();
        let share = shares(ann, &round).await.remove(0);
        let (lot, taker) = (share.lot_number.to_string(), share.taker_number.to_string());
        let mut texts = Vec::new();
        for absent in ["ben", "cat"] {
            let shed = Shed::new(&text);
            let (opened, there) = shed.open().await;
            let request = v1::CheckInLotRequest {
                round_id: round.clone(),
                lot: lot.clone(),
                here: Some(true),
                came: 0,
            };
            there.call(&request).await.unwrap();
            hand_over(&there, &round, &lot, &taker).await.unwrap();
            let request =
                v1::SetPresenceRequest { round_id: round.clone(), member: absent.into(), absent: Some(true) };
            there.call(&request).await.unwrap();
            stop(opened).await;
            texts.push(shed.text());
        }
        let (known, steps) = bring_home(ann, &texts[0], 200).await.unwrap();
        assert_eq!((known, steps.len()), (0, 3));
        assert!(steps.iter().all(|s| s.outcome() == v1::StepOutcome::Taken), "{steps:#?}");
        let (known, steps) = bring_home(ann, &texts[1], 200).await.unwrap();
        assert_eq!(known, 3);
        let outcomes: Vec<_> = steps.iter().map(v1::BroughtStep::outcome).collect();
        let expected = [v1::StepOutcome::Taken, v1::StepOutcome::Refused, v1::StepOutcome::Taken];
        assert_eq!(outcomes, expected, "{steps:#?}");
        assert_eq!((steps[1].lot.as_str(), steps[1].member.as_str()), (lot.as_str(), taker.as_str()));
        assert!(!steps[1].message.is_empty());
        let absent = log(ann, &round).await.iter().filter(|e| e.kind() == v1::RoundEventKind::Absent).count();
        assert_eq!(absent, 2);
        // Refused steps can come again; the others count once.
        let (known, again) = bring_home(ann, &texts[1], 200).await.unwrap();
        assert_eq!(known, 5);
        assert_eq!(again[1].outcome(), v1::StepOutcome::Refused);
        assert_eq!(again[2].outcome(), v1::StepOutcome::Before);
    })
    .await;
}

/// Late bringers, members without a computer and kinds that are on no list come home as well.
#[tokio::test]
async fn who_walks_into_the_shed_is_known_at_home() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (all, club) = club_of_five(&people).await;
        let ann = &all[0];
        let told = Story::begin(&all, &club, 43).await;
        let round = told.round.clone();
        let shed = Shed::new(&take_along(ann, &round, WORD).await.unwrap());
        let (opened, there) = shed.open().await;
        let request = v1::EnterHelpedMemberRequest {
            club_id: club.clone(),
            name: "Gus of the creek".into(),
            consent: "said so at the table".into(),
        };
        let gus = there.call(&request).await.unwrap().account_id;
        let request = v1::AddRoundMemberRequest { round_id: round.clone(), member: gus.clone() };
        there.call(&request).await.unwrap();
        let for_gus = there.on_behalf_of(&gus);
        let entered: v1::EnterCultivarResponse = for_gus
            .call(&v1::EnterCultivarRequest { name: "Grandmother's Black".into(), crop: "fig".into() })
            .await
            .unwrap();
        let usual = draft();
        let form = v1::MaterialForm::Leafless.into();
        let fig = v1::OfferDraft {
            health: Some(v1::HealthDeclaration { form, ..usual.health.clone().unwrap_or_default() }),
            cultivar: entered.cultivar_id,
            crop: "fig".into(),
            material: v1::Material::Cutting.into(),
            unit: v1::QuantityUnit::Sticks.into(),
            quantity: 3,
            club: club.clone(),
            ..usual
        };
        let fig = for_gus.call(&v1::CreateOfferRequest { offer: Some(fig) }).await.unwrap();
        let fig = fig.offer.unwrap().offer_id;
        let request =
            v1::BringLotRequest { round_id: round.clone(), offer_id: fig, units: 2, ..Default::default() };
        let number = for_gus.call(&request).await.unwrap().number;
        let request = v1::SetWishesRequest {
            round_id: round.clone(),
            wishes: vec![v1::WishLine { quantity: 1, accepts: vec![a_lot(1)], ..Default::default() }],
        };
        for_gus.call(&request).await.unwrap();
        let request = v1::TakeLeftOverRequest {
            round_id: round.clone(),
            lot: number.to_string(),
            units: 1,
            member: "ben".into(),
        };
        there.call(&request).await.unwrap();
        let expected = (state(&there, &round).await, log(&there, &round).await);
        stop(opened).await;
        let (_, steps) = bring_home(ann, &shed.text(), 200).await.unwrap();
        assert!(steps.iter().all(|s| s.outcome() == v1::StepOutcome::Taken), "{steps:#?}");
        assert_eq!((state(ann, &round).await, log(ann, &round).await), expected);
        let found = lots(ann, &round, false).await;
        assert_eq!(found.iter().find(|l| l.number == number).unwrap().cultivar_name, "Grandmother's Black");
    })
    .await;
}

/// The shed runs the day and nothing else, for those who have the word.
#[tokio::test]
async fn the_shed_does_nothing_else() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (all, club) = club_of_five(&people).await;
        let ann = &all[0];
        let told = Story::begin(&all, &club, 47).await;
        let round = told.round.clone();
        let text = take_along(ann, &round, WORD).await.unwrap();
        let shed = Shed::new(&text);
        let (opened, there) = shed.open().await;
        // What the file does not hold is not told as if it were not.
        let asked = |bytes: Vec<u8>, rpc: Rpc| there.bytes(rpc, bytes);
        for (rpc, bytes) in [
            (
                Rpc::CultivarLookUpSeed,
                v1::LookUpSeedRequest { name: "Golek".into(), ..Default::default() }.encode_to_vec(),
            ),
            (Rpc::LotListMyLots, Vec::new()),
            (Rpc::NoticeListNotices, Vec::new()),
            (
                Rpc::ClubUpdateClub,
                v1::UpdateClubRequest { club_id: club.clone(), ..Default::default() }.encode_to_vec(),
            ),
            (Rpc::RoundCreateRound, Vec::new()),
            (Rpc::RoundTakeRoundAlong, Vec::new()),
            (Rpc::AccountChangePassword, Vec::new()),
        ] {
            let refused = asked(bytes, rpc).await.unwrap_err();
            assert_eq!(reason(&refused), "NOT_ON_THE_DAY", "{}", rpc.path());
        }
        // Names are found: late bringers need them.
        let request = v1::SearchCultivarsRequest { query: "Golek".into(), ..Default::default() };
        assert!(!there.call(&request).await.unwrap().matches.is_empty());
        let address = opened.running.address().to_string();
        let stranger = Raw::at(&address).await;
        assert!(stranger.sign_in("ben", WORD).await.is_err());
        assert!(stranger.sign_in("ann", scionary_tests::client::PASSWORD).await.is_err());
        // One computer at a time uses a file.
        let twice = open(&shed.path(), WORD).await.err().unwrap();
        assert!(twice.to_string().contains("in use"), "{twice}");
        stop(opened).await;
        assert!(open(&shed.path(), "creek shed 1988").await.is_err());
        // Only organisers take a round along, and bring it home.
        assert_eq!(take_along(&all[1], &round, WORD).await.unwrap_err().code(), Code::PermissionDenied);
        assert_eq!(take_along(ann, &round, "short").await.unwrap_err().code(), Code::InvalidArgument);
        let request = v1::BringRoundHomeRequest {
            header: text.lines().next().unwrap().into(),
            signature: text.lines().nth(3).unwrap().into(),
            steps: Vec::new(),
        };
        assert_eq!(all[1].call(&request).await.unwrap_err().code(), Code::PermissionDenied);
        // A step is a call of the day, and of no other kind.
        let step = serde_json::json!({
            "id": "01a21d77-1d86-7a10-85f9-27a51f85d313",
            "at": 0,
            "by": "acc_01m8eq96gve00816a3fbm0s4q9",
            "rpc": Rpc::AccountSignOutEverywhere.path(),
            "request": "",
            "seed": "",
        });
        let forged = v1::BringRoundHomeRequest { steps: vec![step.to_string()], ..request };
        let reply = ann.call(&forged).await.unwrap();
        assert_eq!(reply.steps[0].outcome(), v1::StepOutcome::Refused);
        assert!(ann.call(&v1::WhoAmIRequest {}).await.is_ok());
    })
    .await;
}

/// A finder of the file reads no contact, note or password in it, and every change of it is noticed.
#[tokio::test]
async fn a_file_keeps_its_secrets_and_shows_changes() {
    on_both(async |url| {
        let people = People::open(&url).await;
        let (all, club) = club_of_five(&people).await;
        let ann = &all[0];
        let told = Story::begin(&all, &club, 53).await;
        let text = take_along(ann, &told.round, WORD).await.unwrap();
        let lines: Vec<&str> = text.lines().collect();
        let unpacked = |line: &str| {
            let mut plain = String::new();
            flate2::read::GzDecoder::new(BASE64.decode(line).unwrap().as_slice())
                .read_to_string(&mut plain)
                .map(|_| plain)
        };
        let rows = unpacked(lines[1]).unwrap();
        assert!(rows.contains("Growers of the creek") && rows.contains("ben of the club"));
        for secret in ["at the gate", "$argon2", WORD] {
            assert!(!rows.contains(secret) && !text.contains(secret), "{secret}");
        }
        assert!(unpacked(lines[2]).is_err());

        let changed = |line: usize, from: &str, to: &str| {
            let mut lines: Vec<String> = lines.iter().map(|l| (*l).to_string()).collect();
            assert!(lines[line].contains(from));
            lines[line] = lines[line].replacen(from, to, 1);
            lines.join("\n") + "\n"
        };
        let other = |line: usize| {
            let at = lines[line].len() / 2;
            let from = &lines[line][at..at + 8];
            changed(line, from, &from.chars().rev().collect::<String>())
        };
        let of_another_version = changed(0, &scionary_migrations::newest(), "m0018_round_days");
        for (bad, says) in [
            (changed(0, "\"title\":\"", "\"title\":\"A "), "signature"),
            (of_another_version, "signature"),
            (other(1), "parts do not fit"),
            (other(2), "parts do not fit"),
            (other(3), "signature"),
            (lines[..3].join("\n") + "\n", "cut off"),
            ("hello\n".to_string(), "no file of a swap day"),
            (String::new(), "no file of a swap day"),
        ] {
            let shed = Shed::new(&bad);
            let refused = open(&shed.path(), WORD).await.err().unwrap().to_string();
            assert!(refused.contains(says), "{refused}");
            if bad.lines().count() >= 4 && says == "signature" {
                let refused = bring_home(ann, &(bad + "{}\n"), 200).await.unwrap_err();
                assert_eq!(reason(&refused), "DAY_FILE_WRONG");
            }
        }
    })
    .await;
}

/// A file of another server is not taken, also where both have the round.
#[tokio::test]
async fn a_file_comes_home_to_its_own_server() {
    let mut files = Vec::new();
    for _ in 0..2 {
        let database = scionary_tests::Database::sqlite();
        let people = People::open(&database.url).await;
        let (all, club) = club_of_five(&people).await;
        let told = Story::begin(&all, &club, 59).await;
        let text = take_along(&all[0], &told.round, WORD).await.unwrap();
        files.push(text.clone());
        if let [first, _] = files.as_slice() {
            let refused = bring_home(&all[0], &format!("{first}{{}}\n"), 200).await.unwrap_err();
            assert_eq!(reason(&refused), "DAY_OF_ANOTHER_SERVER");
        }
        let _ = all;
        people.server.stop().await;
        database.done().await;
    }
}

/// A computer that dies in the middle of a line loses that step and no other; a full disk is said, and the step is not
/// taken.
#[tokio::test]
async fn a_step_is_in_the_file_or_was_not_taken() {
    let folder = tempfile::tempdir().unwrap();
    let mounted = Command::new("mount")
        .args(["-t", "tmpfs", "-o", "size=3m", "none"])
        .arg(folder.path())
        .output()
        .is_ok_and(|o| o.status.success());
    struct Unmount(PathBuf);
    impl Drop for Unmount {
        fn drop(&mut self) {
            let _ = Command::new("umount").arg("-l").arg(&self.0).output();
        }
    }
    let _unmount = Unmount(folder.path().into());
    let database = scionary_tests::Database::sqlite();
    let people = People::open(&database.url).await;
    let (all, club) = club_of_five(&people).await;
    let told = Story::begin(&all, &club, 61).await;
    let round = told.round.clone();
    let text = take_along(&all[0], &round, WORD).await.unwrap();
    let path = folder.path().join("swap.day");
    std::fs::write(&path, &text).unwrap();
    let opened = open(&path, WORD).await.unwrap();
    let there = Raw::at(&opened.running.address().to_string()).await.sign_in("ann", WORD).await.unwrap();
    let absent = |absent: bool| v1::SetPresenceRequest {
        round_id: round.clone(),
        member: "ben".into(),
        absent: Some(absent),
    };
    there.call(&absent(true)).await.unwrap();
    if mounted {
        let ballast = folder.path().join("ballast");
        let _ = Command::new("dd")
            .args(["if=/dev/zero", "bs=1k"])
            .arg(format!("of={}", ballast.display()))
            .output();
        let mut full = 0;
        for n in 0..40 {
            match there.call(&absent(n % 2 == 1)).await {
                Ok(_) => {}
                Err(refused) => {
                    assert_eq!(reason(&refused), "DAY_NOT_WRITTEN", "{refused:?}");
                    full += 1;
                }
            }
        }
        assert!(full > 0, "the disk fills up");
        std::fs::remove_file(&ballast).unwrap();
    }
    there.call(&absent(true)).await.unwrap();
    let expected = log(&there, &round).await;
    stop(opened).await;
    // Every answer is in the file, and nothing else is.
    let steps = std::fs::read_to_string(&path).unwrap().lines().count() - 4;
    let noted =
        expected.iter().filter(|e| matches!(e.kind(), v1::RoundEventKind::Absent | v1::RoundEventKind::Came));
    assert_eq!(steps, noted.count());
    std::fs::OpenOptions::new().append(true).open(&path).unwrap().write_all(b"{\"id\":\"01a2").unwrap();
    let opened = open(&path, WORD).await.unwrap();
    assert!(opened.cut);
    let there = Raw::at(&opened.running.address().to_string()).await.sign_in("ann", WORD).await.unwrap();
    assert_eq!(log(&there, &round).await, expected);
    there.call(&absent(false)).await.unwrap();
    stop(opened).await;
    let (_, brought) = bring_home(&all[0], &std::fs::read_to_string(&path).unwrap(), 200).await.unwrap();
    assert_eq!(brought.len(), steps + 1);
    assert!(brought.iter().all(|s| s.outcome() == v1::StepOutcome::Taken));
    people.server.stop().await;
    database.done().await;
}
