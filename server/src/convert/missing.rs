//! What is missing, on the wire: counts to make, and cultivars that few keep.

use scionary_app::{
    missing::{Kept, PartnerKept, Proposed},
    registry::{Flowers, Record, Registry, Said, Why},
};
use scionary_domain::{
    gazetteer::Gazetteer,
    trueness::{Source, Taught},
};
use scionary_proto::v1;

use super::registry::{sources, summary};

fn number(n: usize) -> i64 {
    i64::try_from(n).unwrap_or(i64::MAX)
}

fn taught(taught: &Taught) -> v1::CountTeaches {
    v1::CountTeaches {
        judged: taught.judged,
        low: taught.now.0,
        high: taught.now.1,
        width_after: taught.width,
        middle_off_type: taught.middle,
        middle_low: taught.after_middle.0,
        middle_high: taught.after_middle.1,
    }
}

/// A proposal to count.
pub fn proposed(registry: &Registry, found: &Proposed<'_>) -> v1::CountProposal {
    v1::CountProposal {
        cultivar: Some(summary(registry, found.record)),
        counts: found.taught.iter().map(taught).collect(),
        looked_up: i64::try_from(found.looked_up).unwrap_or(i64::MAX),
        source: match found.source {
            Source::Seed => v1::CountSource::Seed,
            Source::Plants => v1::CountSource::Plants,
            Source::None => v1::CountSource::None,
        }
        .into(),
        seed_offers: i64::try_from(found.seed_offers).unwrap_or(i64::MAX),
        counted_before: found.counted,
        sprouts: found.sprouts.as_ref().map(taught),
    }
}

/// Who keeps a cultivar.
pub fn kept(registry: &Registry, countries: &Gazetteer, found: &Kept<'_>) -> v1::KeptCultivar {
    let country = |(code, members): &(String, usize)| v1::KeptIn {
        country_code: code.clone(),
        members: number(*members),
        country_name: countries.country_name(code).unwrap_or_else(|| code.clone()),
    };
    v1::KeptCultivar {
        cultivar: Some(summary(registry, found.record)),
        members: number(found.keeping.members),
        countries: found.keeping.countries.iter().map(country).collect(),
        elsewhere: number(found.keeping.elsewhere),
        at_risk: found.keeping.is_at_risk(),
        members_in_club: found.in_club.map(number),
        offers: i64::try_from(found.offers).unwrap_or(i64::MAX),
    }
}

/// What may help a cultivar to set fruit.
pub fn partners(
    registry: &Registry,
    (record, flowers, rows): &(&Record, Flowers<'_>, Vec<PartnerKept<'_>>),
) -> v1::ListPartnersResponse {
    let said = |said: &Said| v1::SaidOfFlowers {
        text: said.text.clone(),
        source_id: said.source.clone(),
        of_crop: said.of_crop,
    };
    let partner = |row: &PartnerKept<'_>| v1::Partner {
        cultivar: Some(summary(registry, row.partner.record)),
        flower_type: row.partner.flower_type.clone(),
        source_ids: match &row.partner.why {
            Why::Named(sources) => sources.clone(),
            Why::OtherType => Vec::new(),
        },
        offers: i64::try_from(row.offers).unwrap_or(i64::MAX),
        members_in_club: row.in_club.map(number),
    };
    v1::ListPartnersResponse {
        cultivar: Some(summary(registry, record)),
        flower_type: flowers.flower_type.clone(),
        said: flowers.said.iter().map(said).collect(),
        partners: rows.iter().map(partner).collect(),
        sources: sources(registry, flowers.said.iter().map(|s| s.source.as_str())),
    }
}
