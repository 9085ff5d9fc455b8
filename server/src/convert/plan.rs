//! Odds on the wire.

use scionary_app::{
    plans::{AskRipe, Ripe, RipeFiller},
    registry::{Record, Registry, Season},
};
use scionary_domain::{
    calendar::Bars,
    crop::{Crop, Storage, Way},
    grafting::Rate,
    odds::{self, Batch, Chance, Kept, KindOdds, Needed, Odds, Question, Typed},
    offer::Material,
    routes::{self, Comparison, Fact, Route, Yard},
};
use scionary_proto::v1;

use super::{count, grafts, offer::whole_km, registry as convert};

/// When a record is ripe.
fn season(registry: &Registry, record: &Record, season: &Season) -> v1::SeasonRow {
    let finding = season.finding.as_ref();
    let bars = |bars: Option<Bars>| bars.map(|b| b.to_vec()).unwrap_or_default();
    v1::SeasonRow {
        cultivar: Some(convert::summary(registry, record)),
        half_months: bars(season.seen),
        place_years: count(season.place_years),
        text: finding.map(|f| f.text.clone()).unwrap_or_default(),
        standing: finding.map_or(v1::Standing::Unspecified, |f| convert::standing(f.standing)).into(),
        expected: bars(season.expected),
        near_place_years: count(season.near_place_years),
        published: season
            .published
            .iter()
            .map(|p| v1::PublishedSeason {
                from_month: i32::from(p.months.0),
                to_month: i32::from(p.months.1),
                place: p.place.clone(),
                source_id: p.source.clone(),
                as_stated: p.as_stated.clone(),
            })
            .collect(),
    }
}

/// Half months on the wire.
fn halves(halves: &[usize]) -> Vec<i32> {
    halves.iter().copied().map(count).collect()
}

/// A cultivar that fills gaps.
fn filler(registry: &Registry, found: &RipeFiller<'_>) -> v1::SeasonFiller {
    v1::SeasonFiller {
        row: Some(season(registry, found.record, &found.season)),
        fills: halves(&found.filler.fills),
        offers: count(found.offered.offers),
        nearest_km: found.offered.nearest_km.map(whole_km),
    }
}

/// What a calendar is asked for.
pub fn ask_ripe(wire: v1::GetSeasonsRequest) -> AskRipe {
    let v1::GetSeasonsRequest { cultivars, crop, south, fill_gaps, near_grid_code, within_km } = wire;
    AskRipe { cultivars, crop, south, fill_gaps, near_grid_code, within_km }
}

/// A calendar.
pub fn ripe(registry: &Registry, found: &Ripe<'_>) -> v1::GetSeasonsResponse {
    v1::GetSeasonsResponse {
        rows: found.rows.iter().map(|(record, row)| season(registry, record, row)).collect(),
        gaps: halves(&found.gaps),
        fillers: found.fillers.iter().map(|f| filler(registry, f)).collect(),
        south: found.south,
        near_equator: found.near_equator,
    }
}

/// The yard.
pub fn yard(request: &v1::CompareRoutesRequest) -> Yard {
    Yard {
        height_m: request.yard_height_m,
        width_m: request.yard_width_m,
        has_tree: request.has_tree,
        has_scion: request.has_scion,
        has_rootstock: request.has_rootstock,
    }
}

/// A way on the wire.
pub fn way(way: Way) -> v1::Way {
    match way {
        Way::GraftedTree => v1::Way::GraftedTree,
        Way::Seed => v1::Way::Seed,
        Way::OwnRootstock => v1::Way::OwnRootstock,
        Way::TopWorking => v1::Way::TopWorking,
        Way::Cutting => v1::Way::Cutting,
        Way::Division => v1::Way::Division,
    }
}

fn fact(fact: &Fact) -> v1::Timing {
    v1::Timing {
        step: String::new(),
        label: fact.label.clone(),
        low: fact.low,
        high: fact.high,
        unit: fact.unit.clone(),
        origin: fact.origin.clone(),
        note: fact.note.clone(),
    }
}

fn route(route: &Route, rates: &[Rate]) -> v1::Route {
    let Route { profile, identity, is_true, leads_there, fruit, first_fruit, succeeds, cautions } = route;
    v1::Route {
        way: way(profile.way).into(),
        title: profile.title.clone(),
        about: profile.about.clone(),
        identity: identity.clone(),
        is_true: is_true.as_ref().map(chance),
        leads_there: *leads_there,
        fruit_years_low: fruit.low,
        fruit_years_high: fruit.high,
        first_fruit: first_fruit.iter().map(fact).collect(),
        succeeds: succeeds.iter().map(fact).collect(),
        effort: profile.effort.clone(),
        needs: profile.needs.clone(),
        cautions: cautions.iter().map(convert::caution).collect(),
        origin: profile.origin().into(),
        grafting: if routes::grafts(profile.way) { grafts::by_method(rates) } else { Vec::new() },
    }
}

/// The ways side by side.
pub fn routes(
    registry: &Registry,
    record: &Record,
    found: &Comparison,
    rates: &[Rate],
) -> v1::CompareRoutesResponse {
    let unions = registry.stocks_for(record);
    let flowers = registry.flowers(record);
    let facts = found.routes.iter().flat_map(|r| r.first_fruit.iter().chain(&r.succeeds)).chain(&found.sizes);
    let cited = facts
        .map(|f| f.origin.as_str())
        .chain(found.routes.iter().map(|r| r.profile.origin()))
        .chain(found.routes.iter().flat_map(|r| r.cautions.iter().map(|c| c.origin())))
        .chain(unions.iter().flat_map(|u| u.fails.iter().chain(&u.holds)).map(String::as_str));
    v1::CompareRoutesResponse {
        cultivar: Some(convert::summary(registry, record)),
        routes: found.routes.iter().map(|r| route(r, rates)).collect(),
        recommended: found.recommended.map_or(v1::Way::Unspecified, way).into(),
        reason: found.reason.clone(),
        sizes: found.sizes.iter().map(fact).collect(),
        yard: found.yard.clone(),
        sources: convert::sources(registry, cited),
        unions: unions.iter().map(convert::union).collect(),
        flower_type: flowers.flower_type,
        partners: i64::try_from(flowers.partners.len()).unwrap_or(i64::MAX),
    }
}

/// The question; what is not said is the usual.
pub fn question(request: &v1::EstimateSeedOddsRequest) -> Question {
    let pair = |count: &v1::CountOf| (count.of_these, count.counted);
    let usual = Question::usual();
    Question {
        wanted: if request.wanted == 0 { usual.wanted } else { request.wanted },
        confidence: if request.confidence == 0.0 { usual.confidence } else { request.confidence },
        batch: request.batch,
        kept_days: request.kept_days,
        kept_how: request.kept_how.clone(),
        markers: request.markers,
        typed: Typed {
            off_type: request.off_type,
            off_type_counted: request.off_type_counted.as_ref().map(pair),
            germination: request.germination,
            germination_counted: request.germination_counted.as_ref().map(pair),
        },
    }
}

/// The usual odds of a record: one true plant, nine times of ten sure, of fresh seed.
pub fn usual_odds(registry: &Registry, record: &Record, crop: &Crop) -> Odds {
    let known = registry.trueness(record);
    let answer = registry.seed_of(record).0;
    odds::odds(&Question::usual(), Some(crop), &record.findings, Some(answer), Some(&known))
}

fn is_spread(chance: &Chance) -> bool {
    matches!(chance, Chance::Known(spread) if !spread.is_exact())
}

fn chance(chance: &Chance) -> v1::ChanceRange {
    let (low, high) = chance.ends();
    v1::ChanceRange { middle: chance.middle(), low, high, counted: is_spread(chance) }
}

fn needed(needed: Needed) -> v1::NumberNeeded {
    let Needed { likely, at_best, at_worst } = needed;
    v1::NumberNeeded { likely, at_best, at_worst }
}

fn batch(batch: Batch, counted: bool) -> v1::ChanceRange {
    let Batch { likely, at_best, at_worst } = batch;
    v1::ChanceRange { middle: likely, low: at_best, high: at_worst, counted }
}

fn kind(odds: &KindOdds) -> v1::KeptOdds {
    let kept = match odds.kept {
        Kept::AsTheyCome => v1::SeedlingsKept::AsTheyCome,
        Kept::AfterRoguing => v1::SeedlingsKept::AfterRoguing,
        Kept::Largest => v1::SeedlingsKept::Largest,
        Kept::FromSeveral => v1::SeedlingsKept::FromSeveral,
        Kept::CameUpAlone => v1::SeedlingsKept::CameUpAlone,
    };
    let counted = is_spread(&odds.is_true);
    v1::KeptOdds {
        kept: kept.into(),
        label: odds.kept.label().into(),
        is_true: Some(chance(&odds.is_true)),
        basis: odds.basis.clone(),
        origins: odds.origins.clone(),
        standing: odds.standing.map_or(v1::Standing::Unspecified, convert::standing).into(),
        seedlings: Some(needed(odds.seedlings)),
        seeds: odds.seeds.map(needed),
        off_type_in_batch: odds.off_type_in_batch.map(|b| batch(b, counted)),
    }
}

/// The answer.
pub fn odds(
    registry: &Registry,
    record: Option<&Record>,
    crop: Option<&Crop>,
    question: &Question,
    odds: &Odds,
) -> v1::EstimateSeedOddsResponse {
    let storages: Vec<&Storage> = crop.map(|c| c.storages_of(Material::Seed).collect()).unwrap_or_default();
    let cited = odds
        .kinds
        .iter()
        .flat_map(|k| &k.origins)
        .chain(odds.notes.iter().flat_map(|n| &n.origins))
        .map(String::as_str)
        .chain(storages.iter().filter(|s| s.key == question.kept_how).map(|s| s.origin()));
    v1::EstimateSeedOddsResponse {
        cultivar: record.map(|r| convert::summary(registry, r)),
        headline: odds.headline.clone(),
        new_plant: odds.new_plant,
        kept: odds.kinds.iter().map(kind).collect(),
        germination: odds.germination.as_ref().map(chance),
        germination_basis: odds.germination_basis.clone(),
        notes: odds
            .notes
            .iter()
            .map(|n| v1::Advice { text: n.text.clone(), origins: n.origins.clone() })
            .collect(),
        sources: convert::sources(registry, cited),
        storages: storages.into_iter().map(convert::storage).collect(),
        wanted: question.wanted,
        confidence: question.confidence,
        batch: question.batch,
    }
}
