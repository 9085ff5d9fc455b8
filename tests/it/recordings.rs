//! Every method for every persona, as the wire carries it: status, details, headers, trailers and reply. Next to it,
//! the transport's answers to invalid calls. Both files are reviewed like code.
//!
//! Values that differ between runs or days become words: ids, codes, times and days. Replies that depend on chance are
//! recorded as their shape only, see [`DRAWN`].

use std::{fmt::Write as _, sync::LazyLock};

use http::HeaderMap;
use prost::Message as _;
use prost_reflect::{DescriptorPool, DynamicMessage, Kind, MessageDescriptor, ReflectMessage as _, Value};
use regex::Regex;
use scionary_proto::{Effect, Rpc, v1};

use scionary_tests::{
    Database, TestServer,
    samples::{Ids, club, sample},
};
use serde_json::{Map, Value as Json};
use sha2::{Digest as _, Sha256};
use tonic::{Code, Status};
use tonic_types::{ErrorDetail, StatusExt};

use crate::{
    authorization::{PERSONAS, Stage},
    bare::{Answer, Call, Wire, framed, gunzip, gzip},
};

/// The most characters recorded of a reply; a hash stands for the rest.
const SHOWN_CHARS: usize = 1500;
/// Replies recorded as field names and kinds of values only. Lots are drawn for a round, and the number of notices
/// depends on when the server processes a change.
const DRAWN: [Rpc; 3] = [Rpc::RoundExportRoundAudit, Rpc::NoticeListNotices, Rpc::NoticeMarkNoticesRead];
/// Lists of these messages are sorted for the recording: the pieces of one report have the same time and no order.
const UNORDERED: [&str; 3] =
    ["scionary.v1.Evidence", "scionary.v1.EvidenceDetail", "scionary.v1.CropStatement"];

/// All message descriptors.
static POOL: LazyLock<DescriptorPool> = LazyLock::new(|| {
    let mut pool = DescriptorPool::new();
    for set in [
        scionary_proto::FILE_DESCRIPTOR_SET,
        tonic_health::pb::FILE_DESCRIPTOR_SET,
        tonic_reflection::pb::v1::FILE_DESCRIPTOR_SET,
        tonic_reflection::pb::v1alpha::FILE_DESCRIPTOR_SET,
    ] {
        pool.decode_file_descriptor_set(set).unwrap();
    }
    pool
});

/// Returns the message with which a method replies.
fn output(path: &str) -> Option<MessageDescriptor> {
    let (service, method) = path.split('?').next()?.strip_prefix('/')?.split_once('/')?;
    let service = POOL.get_service_by_name(service)?;
    service.methods().find(|m| m.name() == method).map(|m| m.output())
}

/// Converts a message to JSON: the fields that are set, sorted by name, with days and times as words.
fn json(message: &DynamicMessage) -> Json {
    match message.descriptor().full_name() {
        "scionary.v1.CalendarDate" => return "DATE".into(),
        "google.protobuf.Timestamp" => return "TIME".into(),
        _ => {}
    }
    let mut fields = Map::new();
    for field in message.descriptor().fields().filter(|f| message.has_field(f)) {
        let token = field.name().ends_with("page_token");
        let value =
            if token { "PAGE_TOKEN".into() } else { value(&field.kind(), &message.get_field(&field)) };
        fields.insert(field.name().into(), value);
    }
    fields.sort_keys();
    Json::Object(fields)
}

fn value(kind: &Kind, one: &Value) -> Json {
    match one {
        Value::Bool(b) => (*b).into(),
        Value::I32(n) => (*n).into(),
        Value::I64(n) => (*n).into(),
        Value::U32(n) => (*n).into(),
        Value::U64(n) => (*n).into(),
        Value::F32(n) => (*n).into(),
        Value::F64(n) => (*n).into(),
        // The lines of a calendar are folded, also within ids.
        Value::String(text) => text.replace("\r\n ", "").into(),
        Value::Bytes(bytes) => match std::str::from_utf8(bytes) {
            Ok(text) => text.into(),
            Err(_) => "BYTES".into(),
        },
        Value::EnumNumber(n) => match kind.as_enum().and_then(|e| e.get_value(*n)) {
            Some(known) => known.name().into(),
            None => (*n).into(),
        },
        Value::Message(message) => json(message),
        Value::List(all) => {
            let mut all: Vec<Json> = all.iter().map(|one| value(kind, one)).collect();
            if kind.as_message().is_some_and(|m| UNORDERED.contains(&m.full_name())) {
                all.sort_by_cached_key(|one| steady(&one.to_string()));
            }
            all.into()
        }
        Value::Map(all) => {
            let entry = kind.as_message().unwrap().map_entry_value_field().kind();
            let mut pairs: Map<String, Json> =
                all.iter().map(|(key, one)| (format!("{key:?}"), value(&entry, one))).collect();
            pairs.sort_keys();
            Json::Object(pairs)
        }
    }
}

/// Returns the shape of a value: field names and kinds of values; for a list, its distinct shapes.
fn shape(json: &Json) -> Json {
    match json {
        Json::Null => Json::Null,
        Json::Bool(_) => "bool".into(),
        Json::Number(_) => "number".into(),
        Json::String(_) => "text".into(),
        Json::Array(all) => all
            .iter()
            .fold(Vec::new(), |mut kinds: Vec<Json>, one| {
                let one = shape(one);
                if !kinds.contains(&one) {
                    kinds.push(one);
                }
                kinds
            })
            .into(),
        Json::Object(fields) => fields.iter().map(|(name, one)| (name.clone(), shape(one))).collect(),
    }
}

/// The patterns of volatile values, and the word for each.
static VOLATILE: LazyLock<Vec<(Regex, &str)>> = LazyLock::new(|| {
    let months = "(January|February|March|April|May|June|July|August|September|October|November|December)";
    let pairs = [
        (r"\b([a-z]{3})_[0-9a-hjkmnp-tv-z]{26}\b".to_string(), "${1}_ID"),
        (r"\bsst_[0-9a-f]{64}\b".into(), "sst_TOKEN"),
        (r"\b[0-9a-f]{64}\b".into(), "HASH"),
        (r"\b[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}\b".into(), "UUID"),
        (r"\b[0-9A-HJKMNP-TV-Z]{4}(-[0-9A-HJKMNP-TV-Z]{4}){3}\b".into(), "CODE"),
        (
            r"\b[34679ACDEFHJKMNPQRTVWXY]{3}[ -]?[34679ACDEFHJKMNPQRTVWXY]{3}[ -]?[34679ACDEFHJKMNPQRTVWXY]\b"
                .into(),
            "LOT",
        ),
        (r"\b20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z?".into(), "TIME"),
        (r"\b20\d\d-\d\d-\d\d\b".into(), "DATE"),
        (r"\b20\d{6}T\d{6}Z?".into(), "TIME"),
        (r"\b[12]\d{15}\b".into(), "TIME"),
        (r"\b20\d{6}\b".into(), "DATE"),
        (format!(r"\b\d{{1,2}} {months}( 20\d\d)?\b"), "DATE"),
        (format!(r"\b{months} 20\d\d\b"), "MONTH"),
        (r"\b127\.0\.0\.1:\d+\b".into(), "ADDRESS"),
        (r"\b(free-|Lantern Sweet |The club |The swappers |Club )\d+\b".into(), "${1}N"),
    ];
    pairs.into_iter().map(|(pattern, word)| (Regex::new(&pattern).unwrap(), word)).collect()
});

fn steady(text: &str) -> String {
    VOLATILE
        .iter()
        .fold(text.to_string(), |text, (pattern, word)| pattern.replace_all(&text, *word).into_owned())
}

/// Returns a text, or the beginning and the hash of a long one.
fn shortened(text: &str) -> String {
    let count = text.chars().count();
    if count <= SHOWN_CHARS {
        return text.into();
    }
    let shown: String = text.chars().take(SHOWN_CHARS).collect();
    let hash: String = Sha256::digest(text).iter().map(|b| format!("{b:02x}")).collect();
    format!("{shown}… ({count} characters, {hash})")
}

/// Returns the headers by name, without the values of the status, which is recorded separately.
fn named(headers: &HeaderMap) -> String {
    let mut all: Vec<String> = headers
        .iter()
        .filter(|(name, _)| *name != "date")
        .map(|(name, value)| match name.as_str() {
            "grpc-status" | "grpc-message" | "grpc-status-details-bin" => name.to_string(),
            "content-length" => name.to_string(),
            _ => format!("{name}={}", String::from_utf8_lossy(value.as_bytes())),
        })
        .collect();
    all.sort();
    if all.is_empty() { "-".into() } else { all.join(" ") }
}

fn detail(detail: &ErrorDetail) -> String {
    match detail {
        ErrorDetail::ErrorInfo(info) => {
            let mut pairs: Vec<_> = info.metadata.iter().collect();
            pairs.sort();
            format!("reason {} of {} {pairs:?}", info.reason, info.domain)
        }
        ErrorDetail::BadRequest(bad) => {
            let mut text = "fields".to_string();
            for wrong in &bad.field_violations {
                write!(text, " [{}: {}]", wrong.field, wrong.description).unwrap();
            }
            text
        }
        ErrorDetail::RetryInfo(retry) => {
            format!("retry {}", if retry.retry_delay.is_some() { "later" } else { "unsaid" })
        }
        ErrorDetail::RequestInfo(info) => format!("request {} {:?}", info.request_id, info.serving_data),
        other => format!("{other:?}"),
    }
}

/// Returns the reply to a call as text.
fn told(path: &str, answer: &Answer, only_shape: bool) -> String {
    let mut text = String::new();
    let status = answer
        .trailers
        .as_ref()
        .and_then(Status::from_header_map)
        .or_else(|| Status::from_header_map(&answer.headers));
    match &status {
        Some(status) if status.message().is_empty() => writeln!(text, "  {:?}", status.code()).unwrap(),
        Some(status) => writeln!(text, "  {:?}: {}", status.code(), status.message()).unwrap(),
        None => writeln!(text, "  no status").unwrap(),
    }
    for one in status.iter().flat_map(StatusExt::get_error_details_vec) {
        writeln!(text, "    {}", detail(&one)).unwrap();
    }
    write!(text, "    http {}, headers {}", answer.http, named(&answer.headers)).unwrap();
    if let Some(trailers) = &answer.trailers {
        write!(text, ", trailers {}", named(trailers)).unwrap();
    }
    if !answer.end.is_empty() {
        write!(text, ", {}", answer.end).unwrap();
    }
    text.push('\n');
    let mut text = steady(&text);
    let mut chunks = String::new();
    for (flag, bytes) in &answer.messages {
        if *flag != 0 {
            writeln!(text, "    compressed").unwrap();
        }
        let plain = match answer.headers.get("grpc-encoding").and_then(|e| e.to_str().ok()) {
            Some("gzip") if *flag == 1 => gunzip(bytes),
            _ if *flag == 0 => bytes.clone(),
            _ => continue,
        };
        let Some(kind) = output(path) else {
            writeln!(text, "    {} bytes", plain.len()).unwrap();
            continue;
        };
        let message = json(&DynamicMessage::decode(kind, plain.as_slice()).unwrap());
        // Join the chunks of a file: a day can cross from one chunk to the next.
        if let Some(chunk) = message.get("chunk").and_then(Json::as_str) {
            chunks.push_str(chunk);
            continue;
        }
        let message = if only_shape { shape(&message) } else { message };
        writeln!(text, "    {}", shortened(&steady(&message.to_string()))).unwrap();
    }
    if !chunks.is_empty() {
        writeln!(text, "    {} chunks", answer.messages.len()).unwrap();
        if only_shape {
            chunks = shape(&serde_json::from_str(&chunks).unwrap()).to_string();
        }
        let mut chunks = steady(&chunks);
        if path == Rpc::ExportExportRegistry.path() {
            let mut lines: Vec<&str> = chunks.lines().collect();
            lines.sort_unstable();
            chunks = lines.join("\n");
        }
        if path == Rpc::RoundTakeRoundAlong.path() {
            // Hashes, keys and sealed parts differ each time; `away` reads them.
            let packed = Regex::new("[A-Za-z0-9+/]{15,}={0,2}").unwrap();
            chunks = packed.replace_all(&chunks, "PACKED").into_owned();
        }
        for line in shortened(&chunks).lines() {
            writeln!(text, "    | {line}").unwrap();
        }
    }
    text
}

/// Returns how many messages to read: a watch has no end, so its first one is enough.
fn most(rpc: Rpc) -> usize {
    match rpc {
        Rpc::NoticeWatchNotices | Rpc::HealthV1HealthWatch => 1,
        _ => usize::MAX,
    }
}

fn kept(name: &str, text: &str) {
    let text: String = text.lines().map(|l| l.trim_end().to_string() + "\n").collect();
    insta::with_settings!({ prepend_module_to_snapshot => false, snapshot_path => "../snapshots", omit_expression => true }, {
        insta::assert_snapshot!(name, text);
    });
}

#[tokio::test]
async fn every_method_answers_every_persona_as_recorded() {
    let database = Database::sqlite();
    let mut stage = Stage::set(&database.url).await;
    let wire = Wire::open(stage.server.running.address()).await;
    let app = stage.server.running.app().clone();
    let mut followed = app.begin_to_follow().await.unwrap();
    let mut text = String::new();
    for rpc in Rpc::ALL {
        let mut outcomes: Vec<(String, Vec<&str>)> = Vec::new();
        for (at, persona) in PERSONAS.iter().enumerate() {
            let ids = stage.ids(rpc).await;
            let who = stage.caller(at, rpc).await;
            // Process pending changes now, so that lists are full.
            app.follow_changes(&mut followed).await.unwrap();
            app.refresh_registry().await.unwrap();
            let call = Call::new(rpc.path(), &sample(rpc, &ids)).by(&who);
            let answer = wire.send(call, most(rpc)).await;
            let outcome = told(rpc.path(), &answer, DRAWN.contains(&rpc));
            match outcomes.iter_mut().find(|(known, _)| *known == outcome) {
                Some((_, personas)) => personas.push(persona),
                None => outcomes.push((outcome, vec![persona])),
            }
            stage.after(at, rpc).await;
            app.follow_changes(&mut followed).await.unwrap();
        }
        writeln!(text, "{}", rpc.path()).unwrap();
        for (outcome, personas) in outcomes {
            write!(text, " {}\n{outcome}", personas.join(", ")).unwrap();
        }
    }
    drop(wire);
    kept("recordings", &text);
    stage.server.stop().await;
}

/// The table of invalid calls. Consecutive calls with the same answer are recorded with it once.
struct Table<'a> {
    wire: &'a Wire,
    text: String,
    last: String,
}

impl Table<'_> {
    async fn row(&mut self, what: &str, call: Call<'_>) -> Answer {
        self.rows(what, call, usize::MAX).await
    }
    async fn rows(&mut self, what: &str, call: Call<'_>, most: usize) -> Answer {
        let path = call.path.to_string();
        let answer = self.wire.send(call, most).await;
        self.put(what, told(&path, &answer, false));
        answer
    }
    fn put(&mut self, what: &str, outcome: String) {
        if self.last != outcome {
            let last = std::mem::replace(&mut self.last, outcome);
            self.text.push_str(&last);
        }
        writeln!(self.text, "{what}").unwrap();
    }
    fn done(mut self) -> String {
        self.text.push_str(&self.last);
        self.text
    }
}

#[tokio::test]
async fn the_transport_answers_as_recorded() {
    let database = Database::sqlite();
    let server = TestServer::with(&database.url, &["limits.request_kib_max=16"]).await;
    let visitor = server.raw();
    let owner = visitor.member("owner").await;
    let wire = Wire::open(server.running.address()).await;
    let mut table = Table { wire: &wire, text: String::new(), last: String::new() };

    let look_up = Rpc::CultivarLookUpSeed.path();
    let golek = v1::LookUpSeedRequest { name: "golek".into(), crop: String::new() }.encode_to_vec();
    let call = || Call::new(look_up, &golek);
    for path in [
        "/scionary.v1.OfferService/Nothing",
        "/scionary.v1.NothingService/GetOffer",
        "/scionary.v1.OfferService",
        "/scionary.v1.OfferService/GetOffer/",
        "/scionary.v1.offerservice/GetOffer",
        "/grpc.health.v1.Health/Nothing",
        "/",
        "//",
    ] {
        table.row(&format!("unknown path {path}"), Call::new(path, &[])).await;
    }
    table.row("a path with a query", Call { path: &format!("{look_up}?crop=mango"), ..call() }).await;
    for verb in ["GET", "PUT", "OPTIONS"] {
        table.row(&format!("verb {verb}"), Call { verb, ..call() }).await;
    }
    for content in
        ["application/grpc+proto", "application/grpc+json", "application/grpc-web", "application/json", ""]
    {
        table.row(&format!("content-type {content:?}"), Call { content, ..call() }).await;
    }

    for (who, raw) in [("visitor", &visitor), ("owner", &owner)] {
        for rpc in [Rpc::CultivarLookUpSeed, Rpc::OfferCreateOffer, Rpc::ExportExport] {
            let bodies = [
                ("malformed bytes", framed(0, &[0xff; 40])),
                ("invalid UTF-8", framed(0, &[0x0a, 2, 0xc3, 0x28])),
                ("a message cut short", framed(0, &[0x0a, 9, b'g'])),
                ("no message", Vec::new()),
                ("an empty message", framed(0, &[])),
                ("an unknown field", framed(0, &[0xfa, 0x3f, 1, b'x'])),
                ("two messages", framed(0, &[]).repeat(2)),
                ("a frame cut short", framed(0, &golek)[..8].to_vec()),
                ("half a frame's head", vec![0, 0]),
                ("a message and half a head", [framed(0, &[]), vec![0, 0]].concat()),
                ("an unknown flag", framed(2, &golek)),
                ("a compressed flag without an encoding", framed(1, &gzip(&golek))),
                (
                    "a message over the limit",
                    framed(0, &[&[0x0a, 0xa0, 0x9c, 1], [b'x'; 20_000].as_slice()].concat()),
                ),
                ("a length over the limit, and no bytes", vec![0, 0x7f, 0xff, 0xff, 0xff]),
            ];
            for (what, body) in bodies {
                let what = format!("{what}: {who} {}", rpc.path());
                table.row(&what, Call::new(rpc.path(), &[]).by(raw).body(body)).await;
            }
        }
    }

    // A stream of requests.
    let part = framed(0, &sample(Rpc::EvidenceImportEvidence, &Ids::default()));
    for (what, second) in [
        ("nothing", Vec::new()),
        ("another", part.clone()),
        ("an empty message", framed(0, &[])),
        ("malformed bytes", framed(0, &[0xff; 40])),
        ("a frame cut short", vec![0, 0, 0, 0, 9, 1]),
        ("a length over the limit, and no bytes", vec![0, 0x7f, 0xff, 0xff, 0xff]),
    ] {
        let import = Call::new(Rpc::EvidenceImportEvidence.path(), &[]).by(&owner);
        let body = [part.as_slice(), &second].concat();
        table.row(&format!("a part of an import, and {what}"), import.body(body)).await;
    }
    let import = Call::new(Rpc::EvidenceImportEvidence.path(), &[]).by(&owner);
    table.row("no part of an import", import.body(Vec::new())).await;

    // Encodings.
    let zipped = framed(1, &gzip(&golek));
    table.row("gzip", call().with("grpc-encoding", "gzip").body(zipped.clone())).await;
    table.row("gzip said, and not done", call().with("grpc-encoding", "gzip")).await;
    table
        .row("gzip said, and other bytes", call().with("grpc-encoding", "gzip").body(framed(1, &golek)))
        .await;
    let bomb = framed(1, &gzip(&[[0x0a, 0x80, 0x80, 0x80, 1].as_slice(), &[b'x'; 2 << 20]].concat()));
    table.row("gzip bomb", call().with("grpc-encoding", "gzip").body(bomb)).await;
    for encoding in ["deflate", "br", "zstd", "identity", "", "GZIP"] {
        let what = format!("encoding {encoding:?} with the bytes of gzip");
        table.row(&what, call().with("grpc-encoding", encoding).body(zipped.clone())).await;
    }
    let who_am_i = Call::new(Rpc::AccountWhoAmI.path(), &[]).by(&owner);
    table.row("gzip to WhoAmI", who_am_i.with("grpc-encoding", "gzip").body(framed(1, &gzip(&[])))).await;

    // Idempotency keys.
    let note = |note: &str| v1::CreateInvitationRequest { note: note.into() }.encode_to_vec();
    let invite = |words: &str| Call::new(Rpc::AccountCreateInvitation.path(), &note(words)).by(&owner);
    table.row("no key", invite("guest").without_key()).await;
    let long = "x".repeat(65);
    for (what, key) in [
        ("an empty key", ""),
        ("a key too short", "short"),
        ("a key too long", long.as_str()),
        ("a key with spaces", "a key with spaces in it"),
    ] {
        table.row(what, invite("guest").with("idempotency-key", key)).await;
    }
    table.row("no key and no session", Call { headers: Vec::new(), ..invite("guest") }).await;
    let keyed = |words: &str| invite(words).with("idempotency-key", "one-key-for-all-of-these");
    table.row("a key for the first time, of a reply with a secret", keyed("guest")).await;
    table.row("the same key again, of a reply with a secret", keyed("guest")).await;
    table.row("the same key with another request", keyed("another guest")).await;
    let block = v1::BlockMemberRequest { account_id: "acc_00000000000000000000000001".into() };
    let other = Call::new(Rpc::AccountBlockMember.path(), &block.encode_to_vec()).by(&owner);
    table
        .row("the same key with another method", other.with("idempotency-key", "one-key-for-all-of-these"))
        .await;
    let found = v1::CreateClubRequest { club: Some(club("Club 1")) }.encode_to_vec();
    let found = || {
        let call = Call::new(Rpc::ClubCreateClub.path(), &found).by(&owner);
        call.with("idempotency-key", "another-key-for-these")
    };
    let first = table.row("a key for the first time", found()).await;
    let again = table.row("the same key again", found()).await;
    // Times and ids are the same too.
    assert_eq!(first.messages, again.messages);
    table.row("a key where none is asked for", call().with("idempotency-key", "short")).await;

    // Sessions and acting for others.
    for (what, value) in [
        ("a session without Bearer", owner.token().unwrap().to_string()),
        ("a session with bearer in small letters", format!("bearer {}", owner.token().unwrap())),
        ("another kind of session", "Basic b3duZXI6eA==".into()),
        ("an empty session", String::new()),
    ] {
        let who_am_i = Call::new(Rpc::AccountWhoAmI.path(), &[]).with("authorization", &value);
        table.row(what, who_am_i).await;
    }
    let unknown = "acc_00000000000000000000000001";
    for (what, rpc, member) in [
        ("on behalf where it is not allowed", Rpc::AccountWhoAmI, unknown),
        ("on behalf where anyone may call", Rpc::CultivarLookUpSeed, unknown),
        ("on behalf of someone unknown", Rpc::OfferListMyOffers, unknown),
        ("on behalf of what is no account", Rpc::OfferListMyOffers, "stranger"),
        ("on behalf of nothing", Rpc::OfferListMyOffers, ""),
    ] {
        table.row(what, Call::new(rpc.path(), &[]).by(&owner).with("on-behalf-of", member)).await;
        let what = format!("{what}, by a visitor");
        table.row(&what, Call::new(rpc.path(), &[]).with("on-behalf-of", member)).await;
    }

    // Deadlines: hashing a password takes far longer than these.
    let sign_in = v1::SignInRequest { handle: "stranger".into(), password: "x".into(), label: String::new() };
    let sign_in = sign_in.encode_to_vec();
    let hurried = || Call::new(Rpc::AccountSignIn.path(), &sign_in);
    table.row("grpc-timeout 20m on SignIn", hurried().with("grpc-timeout", "20m")).await;
    // So short a deadline can pass in the transport before it passes in the gate.
    let answer = wire.send(hurried().with("grpc-timeout", "1m"), 1).await;
    let status = Status::from_header_map(&answer.headers).unwrap();
    assert!(matches!(status.code(), Code::DeadlineExceeded | Code::Cancelled), "{status:?}");
    table.row("grpc-timeout that cannot be read", hurried().with("grpc-timeout", "soon")).await;

    // Health and reflection.
    let services: Vec<String> = POOL
        .services()
        .map(|s| s.full_name().to_string())
        .chain(["".into(), "scionary.v1.NothingService".into()])
        .collect();
    for service in &services {
        let asked = tonic_health::pb::HealthCheckRequest { service: service.clone() }.encode_to_vec();
        let check = Call::new(Rpc::HealthV1HealthCheck.path(), &asked);
        table.row(&format!("health check {service:?}"), check).await;
        let watch = Call::new(Rpc::HealthV1HealthWatch.path(), &asked);
        table.rows(&format!("health watch {service:?}"), watch, 1).await;
    }
    table.row("health list", Call::new(Rpc::HealthV1HealthList.path(), &[])).await;
    {
        use tonic_reflection::pb::v1::{ServerReflectionRequest, server_reflection_request::MessageRequest};
        // Both versions have the same messages.
        for rpc in [
            Rpc::ReflectionV1ServerReflectionServerReflectionInfo,
            Rpc::ReflectionV1alphaServerReflectionServerReflectionInfo,
        ] {
            for (what, asked) in [
                ("services", MessageRequest::ListServices(String::new())),
                ("an unknown symbol", MessageRequest::FileContainingSymbol("scionary.v1.Nothing".into())),
                ("an unknown file", MessageRequest::FileByFilename("nothing.proto".into())),
            ] {
                let request = ServerReflectionRequest { host: String::new(), message_request: Some(asked) };
                let call = Call::new(rpc.path(), &request.encode_to_vec());
                table.row(&format!("reflection of {what} {}", rpc.path()), call).await;
            }
            let asked = MessageRequest::FileContainingSymbol("scionary.v1.OfferService".into());
            let request = ServerReflectionRequest { host: String::new(), message_request: Some(asked) };
            let mut body = framed(0, &request.encode_to_vec());
            body.extend(body.clone());
            let answer = wire.send(Call::new(rpc.path(), &[]).body(body), usize::MAX).await;
            // The content of a file changes with the proto files, so only record that there is one.
            writeln!(table.text, "reflection of a symbol, twice\n  {} replies", answer.messages.len())
                .unwrap();
        }
    }
    kept("recordings_transport", &table.done());
    drop(wire);
    server.stop().await;
}

/// Registry replies are public and may be compressed; account replies hold secrets and are not compressed.
#[tokio::test]
async fn what_is_compressed_is_as_recorded() {
    let database = Database::sqlite();
    let mut stage = Stage::set(&database.url).await;
    let wire = Wire::open(stage.server.running.address()).await;
    let mut text = String::new();
    let mut services = std::collections::BTreeSet::new();
    for rpc in Rpc::ALL {
        // One reading method of each service, and a file in chunks.
        let service = rpc.path().rsplit_once('/').unwrap().0;
        let reads = rpc.effect() == Effect::Reads && services.insert(service);
        if !reads && rpc != Rpc::ClubExportClub {
            continue;
        }
        let ids = stage.ids(rpc).await;
        let who = stage.caller(1, rpc).await;
        let message = sample(rpc, &ids);
        for accepted in ["gzip", "zstd", "zstd,gzip", "gzip;q=1.0, zstd", "deflate", "identity"] {
            let call = Call::new(rpc.path(), &message).by(&who).with("grpc-accept-encoding", accepted);
            let answer = wire.send(call, most(rpc)).await;
            let flags: std::collections::BTreeSet<u8> =
                answer.messages.iter().map(|(flag, _)| *flag).collect();
            let headers = named(&answer.headers);
            let line = format!("{} accepts {accepted}: {headers}, flags {flags:?}", rpc.path());
            writeln!(text, "{}", steady(&line)).unwrap();
        }
    }
    kept("recordings_compression", &text);
    drop(wire);
    stage.server.stop().await;
}
