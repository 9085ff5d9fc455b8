//! The words that people read and type for the values of the wire.

use scionary_proto::v1;

/// Returns a wire enum's name as words, without its prefix: `MATERIAL_SCION_WOOD` becomes `scion wood`.
pub fn plain(name: &str, prefix: &str) -> String {
    name.strip_prefix(prefix).unwrap_or(name).replace('_', " ").to_lowercase()
}

/// Returns a typed crop as its key, in lower case with underscores; empty if the user typed none.
pub fn crop(typed: Option<String>) -> String {
    typed.unwrap_or_default().trim().to_lowercase().replace([' ', '-'], "_")
}

/// Normalises a typed word: hyphens, spaces and underscores become underscores, and case does not matter.
pub fn typed(text: &str) -> String {
    text.trim().to_ascii_uppercase().replace(['-', ' '], "_")
}

macro_rules! enums {
    ($($fn_label:ident, $fn_parse:ident: $name:ident, $prefix:literal, [$($choice:ident),*];)*) => {
        $(
            /// Returns the words that people read for this value.
            pub fn $fn_label(value: v1::$name) -> String { plain(value.as_str_name(), $prefix) }
            /// Parses the words that people type for this value. The error lists the choices.
            pub fn $fn_parse(text: &str) -> Result<v1::$name, String> {
                let name = format!("{}{}", $prefix, typed(text));
                // Accept a plural too.
                let singular = name.strip_suffix('S').unwrap_or(&name);
                match v1::$name::from_str_name(&name).or_else(|| v1::$name::from_str_name(singular)) {
                    Some(value) if value != v1::$name::Unspecified => Ok(value),
                    Some(_) | None => {
                        let all = [$(v1::$name::$choice),*].map(|v| $fn_label(v).replace(' ', "-")).join(", ");
                        Err(format!("one of {all} expected"))
                    }
                }
            }
        )*
    };
}
enums! {
    material, parse_material: Material, "MATERIAL_", [ScionWood, Budwood, Seed, Seedling, Rootstock, GraftedPlant, FruitForSeed, Cutting, RootedPlant];
    unit, parse_unit: QuantityUnit, "QUANTITY_UNIT_", [Sticks, Seeds, Plants, Fruits, Grams];
    terms, parse_terms: Terms, "TERMS_", [Swap, Gift, PostageOnly];
    hand_over, parse_hand_over: HandOver, "HAND_OVER_", [Collect, Meeting, Post];
    form, parse_form: MaterialForm, "MATERIAL_FORM_", [Leafless, WithLeaves, BareRoot, InMedium, CleanedSeed, SeedInHusk, WholeFruit];
    purpose, parse_purpose: Purpose, "PURPOSE_", [Planting, EatingAndSowing];
    observed, parse_observed: Observed, "OBSERVED_", [Yes, No, Unknown];
    answer, parse_answer: SeedAnswer, "SEED_ANSWER_", [ComesTrue, MostlyTrue, NotCounted, PartlyTrue, MostlyOffType, NotTrue, BothKinds, Contested, Doubtful, Unknown];
    role, parse_role: Role, "ROLE_", [Curator, Organiser, Steward];
    judged, parse_judged: JudgedSeedlings, "JUDGED_SEEDLINGS_", [AsTheyCame, AfterRoguing, Alone, OfSeveral, Largest];
    method, parse_method: ObservationMethod, "OBSERVATION_METHOD_", [Eye, Fruit, Marker, Instrument];
    name_kind, parse_name_kind: NameKind, "NAME_KIND_", [Synonym, Spelling, Regional];
    parent_role, parse_parent_role: ParentRole, "PARENT_ROLE_", [Seed, Pollen, Unknown];
    way, parse_way: Way, "WAY_", [GraftedTree, Seed, OwnRootstock, TopWorking, Cutting, Division];
    climate, parse_climate: Climate, "CLIMATE_", [Warm, Mild, Cold, Rains];
    graft_method, parse_graft_method: GraftMethod, "GRAFT_METHOD_", [Cleft, WhipAndTongue, Splice, Veneer, Side, Bark, Approach, ShieldBud, ChipBud, PatchBud, Other];
    protection, parse_protection: ProtectionKind, "PROTECTION_KIND_", [VarietyRight, Patent];
    lot_kind, parse_lot_kind: LotKind, "LOT_KIND_", [MotherPlant, ScionWood, Budwood, Seed, Seedling, Rootstock, GraftedPlant, FruitForSeed, Cutting, RootedPlant];
    alert_kind, parse_alert_kind: AlertKind, "ALERT_KIND_", [Health, Identity];
    part, parse_part: PlantPart, "PLANT_PART_", [Top, Root];
    carrier, parse_carrier: Carrier, "CARRIER_", [Graft, Cutting, Seed, Tool];
    ticket_subject, parse_ticket_subject: TicketSubject, "TICKET_SUBJECT_", [Cultivar, Evidence, Offer, Account];
}

/// Returns how one lot descends from another, as a phrase in a sentence.
pub fn descent(value: v1::Descent) -> &'static str {
    use scionary_domain::lineage::Descent as D;
    match value {
        v1::Descent::Unspecified => "from",
        v1::Descent::SeedFrom => D::SeedFrom.words(),
        v1::Descent::CutFrom => D::CutFrom.words(),
        v1::Descent::RaisedFrom => D::RaisedFrom.words(),
        v1::Descent::PartOf => D::PartOf.words(),
        v1::Descent::ScionOf => D::ScionOf.words(),
        v1::Descent::RootstockOf => D::RootstockOf.words(),
        v1::Descent::GraftedOnto => D::GraftedOnto.words(),
        v1::Descent::SameBlade => D::SameBlade.words(),
        v1::Descent::HandedOver => D::HandedOver.words(),
    }
}

/// Returns a person's standing in a club, as people read it.
pub fn club_standing(value: v1::ClubStanding) -> String {
    match value {
        v1::ClubStanding::Asked => "asked to join".into(),
        v1::ClubStanding::Unspecified
        | v1::ClubStanding::Invited
        | v1::ClubStanding::Member
        | v1::ClubStanding::Organiser => plain(value.as_str_name(), "CLUB_STANDING_"),
    }
}

/// Returns an alert's state as people read it.
pub fn alert_state(value: v1::AlertState) -> String {
    match value {
        v1::AlertState::Raised => "raised, not confirmed".into(),
        v1::AlertState::Unspecified | v1::AlertState::Confirmed | v1::AlertState::Lifted => {
            plain(value.as_str_name(), "ALERT_STATE_")
        }
    }
}

/// Returns a count with its noun, singular or plural: `1 pack`, `2 packs`.
pub fn counted(count: impl Into<i64>, what: &str) -> String {
    let count: i64 = count.into();
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

/// Returns an amount with its unit: `1 stick`, `5 seeds`.
pub fn amount(quantity: i32, of: v1::QuantityUnit) -> String {
    let unit = unit(of);
    let unit = if quantity == 1 { unit.trim_end_matches('s') } else { &unit };
    format!("{quantity} {unit}")
}

/// Returns an amount of a cultivar's material as people say it: `5 Quarrymead seeds`, `3 sticks of Quarrymead scion
/// wood`, `2 Quarrymead seedlings`.
pub fn goods(quantity: i32, of: v1::QuantityUnit, kind: v1::Material, cultivar: &str) -> String {
    let s = if quantity == 1 { "" } else { "s" };
    match (kind, of) {
        (v1::Material::Seed, v1::QuantityUnit::Seeds) => format!("{quantity} {cultivar} seed{s}"),
        (v1::Material::Seedling, v1::QuantityUnit::Plants) => format!("{quantity} {cultivar} seedling{s}"),
        (v1::Material::GraftedPlant, v1::QuantityUnit::Plants) => {
            format!("{quantity} grafted {cultivar} plant{s}")
        }
        (v1::Material::Cutting, v1::QuantityUnit::Sticks) => format!("{quantity} {cultivar} cutting{s}"),
        (v1::Material::RootedPlant, v1::QuantityUnit::Plants) => {
            format!("{quantity} rooted {cultivar} plant{s}")
        }
        (v1::Material::Rootstock, v1::QuantityUnit::Plants) => format!("{quantity} {cultivar} rootstock{s}"),
        (v1::Material::FruitForSeed, v1::QuantityUnit::Fruits) => {
            format!("{quantity} {cultivar} fruit{s} for seed")
        }
        (kind, of) => format!("{} of {cultivar} {}", amount(quantity, of), material(kind)),
    }
}

/// Returns the unit in which a material is usually counted.
pub fn usual_unit(of: v1::Material) -> v1::QuantityUnit {
    let known = scionary_domain::offer::Material::from_word(&material(of).replace(' ', "_"));
    known.and_then(|m| parse_unit(m.usual_unit().word()).ok()).unwrap_or_default()
}

/// Returns the name of a month from 1 to 12.
pub fn month(number: i32) -> &'static str {
    scionary_domain::evidence::month_name(u8::try_from(number).unwrap_or(0))
}

/// Groups ascending numbers on a circle into runs of neighbours. A run can pass the end of the circle and go on at its
/// start.
pub fn runs(all: &[i32], first_of_circle: i32, last_of_circle: i32) -> Vec<(i32, i32)> {
    let mut runs: Vec<(i32, i32)> = Vec::new();
    for at in all {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == *at => *last = *at,
            _ => runs.push((*at, *at)),
        }
    }
    if let [(first, _), .., (_, last)] = runs.as_slice()
        && (*first, *last) == (first_of_circle, last_of_circle)
        && let Some((from, _)) = runs.pop()
        && let Some(start) = runs.first_mut()
    {
        start.0 = from;
    }
    runs
}

/// Returns months as people read them: `April to September`.
pub fn months(all: &[i32]) -> String {
    let text: Vec<String> =
        runs(all, 1, 12)
            .into_iter()
            .map(|(from, to)| {
                if from == to { month(from).to_string() } else { format!("{} to {}", month(from), month(to)) }
            })
            .collect();
    text.join(", ")
}

/// Returns a proposal's state as people read it.
pub fn proposal_state(value: v1::ProposalState) -> String {
    plain(value.as_str_name(), "PROPOSAL_STATE_")
}

/// Parses a proposal's state; `all` gives the unspecified state.
pub fn parse_proposal_state(text: &str) -> Result<v1::ProposalState, String> {
    match typed(text).as_str() {
        "ALL" => Ok(v1::ProposalState::Unspecified),
        word => v1::ProposalState::from_str_name(&format!("PROPOSAL_STATE_{word}"))
            .ok_or_else(|| "one of open, accepted, refused, withdrawn, all expected".to_string()),
    }
}

/// Returns a claim's state as people read it.
pub fn claim_state(value: v1::ClaimState) -> String {
    plain(value.as_str_name(), "CLAIM_STATE_")
}

/// Returns a verdict on a movement as people read it.
pub fn verdict(value: v1::MovementVerdict) -> String {
    match value {
        v1::MovementVerdict::NoRule => "no rule on file".into(),
        v1::MovementVerdict::DocumentRequired => "official document required".into(),
        v1::MovementVerdict::Unspecified
        | v1::MovementVerdict::Conditions
        | v1::MovementVerdict::Prohibited => plain(value.as_str_name(), "MOVEMENT_VERDICT_"),
    }
}

/// Returns an offer's state as people read it.
pub fn state(value: v1::OfferState) -> String {
    plain(value.as_str_name(), "OFFER_STATE_")
}

/// Returns a finding's standing as people read it.
pub fn standing(value: v1::Standing) -> String {
    plain(value.as_str_name(), "STANDING_")
}

/// Returns a date as `YYYY-MM-DD`; empty if there is none.
pub fn day(date: Option<v1::CalendarDate>) -> String {
    date.map(|d| format!("{:04}-{:02}-{:02}", d.year, d.month, d.day)).unwrap_or_default()
}

/// Returns the UTC date of an instant; empty if there is none.
pub fn day_of(at: Option<&prost_types::Timestamp>) -> String {
    at.map(|t| {
        scionary_domain::time::Timestamp::from_micros(t.seconds.saturating_mul(1_000_000)).date().to_string()
    })
    .unwrap_or_default()
}

/// Returns an instant as a UTC date and time, such as `2027-07-31 09:12 UTC`; empty if there is none.
pub fn time(at: Option<&prost_types::Timestamp>) -> String {
    let minutes = |t: &prost_types::Timestamp| t.seconds.rem_euclid(86_400) / 60;
    at.map(|t| format!("{} {:02}:{:02} UTC", day_of(at), minutes(t) / 60, minutes(t) % 60))
        .unwrap_or_default()
}

/// Parses a typed day, such as `2027-03-31`.
pub fn parse_day(text: &str) -> Result<v1::CalendarDate, String> {
    let date: scionary_domain::time::Date = text.parse().map_err(|e| format!("{e}"))?;
    Ok(v1::CalendarDate { year: date.year(), month: i32::from(date.month()), day: i32::from(date.day()) })
}

/// Parses a place: `latitude,longitude`, which becomes a coarse grid code before it is sent; a grid code; or a name,
/// which is looked up later.
pub fn parse_grid(text: &str) -> Result<String, String> {
    use scionary_domain::place::GridCode;
    if let Some((latitude, longitude)) = text.split_once(',').filter(|_| !text.contains(char::is_alphabetic))
    {
        let number = |t: &str| {
            t.trim()
                .parse::<f64>()
                .map_err(|_| format!("two numbers such as -27.47,153.02 expected, {text:?} found"))
        };
        return GridCode::around(number(latitude)?, number(longitude)?)
            .map(|g| g.to_string())
            .map_err(|_| "latitude goes from -90 to 90, longitude from -180 to 180".to_string());
    }
    if !text.contains('+') && text.contains(char::is_alphabetic) {
        return Ok(text.trim().to_string());
    }
    GridCode::parse(text).map(|g| g.to_string()).map_err(|_| {
        "say where: a town, such as Brisbane, or latitude,longitude, such as -27.47,153.02".to_string()
    })
}
