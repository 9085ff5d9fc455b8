//! What is missing: which count would teach most, which cultivars few members keep, and what helps one to set fruit.

use scionary_proto::v1;

use crate::{Deed, View, lookup::named, odds::hundredths, words::counted};

fn times(count: i64) -> String {
    if count == 1 { "once".into() } else { format!("{count} times") }
}

/// Whose seed and plants were asked about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// Everyone's.
    All,
    /// The reader's.
    Mine,
    /// A club's.
    Club,
}

fn range(low: f64, high: f64) -> String {
    format!("{} to {}", hundredths(low), hundredths(high))
}

/// Shows a [`v1::SuggestCountsResponse`]; `one` if a single cultivar was asked for.
pub fn suggest_counts(view: &mut View, reply: &v1::SuggestCountsResponse, whose: Whose, one: bool) {
    if reply.proposals.is_empty() {
        match whose {
            Whose::All => view.line("No cultivar is on file whose seedlings would need to be judged."),
            Whose::Mine => {
                view.line(
                    "None of your lots and offers is seed or a plant whose seedlings need to be judged.",
                );
                view.act("Enter a tree of yours", Deed::LotAdd.on("mother-plant"));
            }
            Whose::Club => {
                view.line("The club offers no seed, and no member lets plants be counted, of what needs to be judged.");
            }
        }
        return;
    }
    if !one {
        view.title("Where one more count would teach most");
    }
    let alike = |a: &v1::CountProposal, b: &v1::CountProposal| {
        let crop = |p: &v1::CountProposal| p.cultivar.as_ref().map(|c| c.crop.clone());
        let bare = |p: &v1::CountProposal| v1::CountProposal { cultivar: None, ..p.clone() };
        !one && crop(a) == crop(b) && bare(a) == bare(b)
    };
    for proposals in reply.proposals.chunk_by(alike) {
        view.gap();
        proposed(view, proposals, whose, one);
    }
    let first = reply.proposals.first().filter(|p| !p.counts.is_empty());
    if let Some(cultivar) = first.and_then(|p| p.cultivar.as_ref()) {
        view.gap();
        if one {
            view.note("A range holds the share of off-types in 9 cases of 10. How much a count narrows it is a mean over all that it can show; with photographs it narrows it more.");
        }
        view.act("Sow, and note it", Deed::SowingAdd.on(&cultivar.name));
        view.act("Enter what you judged", Deed::EvidenceAdd.on(&cultivar.name));
    }
}

/// Shows what a count would teach of one cultivar, or of some of which the same is known.
fn proposed(view: &mut View, proposals: &[v1::CountProposal], whose: Whose, one: bool) {
    let Some(proposal) = proposals.first() else { return };
    let name = named(proposal.cultivar.as_ref());
    let Some(usual) = proposal.counts.last() else {
        view.title(name);
        view.line("Its seed is said to send up one sprout: each seedling is a new plant, so there is no share of true ones to count. A count of its sprouts would test that.");
        proposal.sprouts.iter().for_each(|count| sprouts(view, count));
        return;
    };
    match proposals {
        [_] => view.title(name),
        several => {
            let names: Vec<&str> =
                several.iter().filter_map(|p| p.cultivar.as_ref()).map(|c| c.name.as_str()).collect();
            view.line(format!("{}: known equally well", names.join(", ")));
        }
    }
    let known = range(usual.low, usual.high);
    view.item(
        2,
        "",
        if proposal.counted_before {
            format!("Off-type, by what was counted: {known} in 100.")
        } else {
            format!("Off-type, by the crop alone (it was never counted): {known} in 100.")
        },
    );
    for count in &proposal.counts {
        if !one && count.judged != usual.judged {
            continue;
        }
        let width = |share: f64| format!("{:.0}", share * 100.0);
        view.item(
            2,
            "",
            format!(
                "Judge {}: a range about {} wide instead of {}. {} off-type would make it {}.",
                count.judged,
                width(count.width_after),
                width(count.high - count.low),
                count.middle_off_type,
                range(count.middle_low, count.middle_high),
            ),
        );
    }
    proposal.sprouts.iter().for_each(|count| sprouts(view, count));
    let asked = match proposal.looked_up {
        0 => "Not looked up in the last year".to_string(),
        n => format!("Looked up {} in the last year", times(n)),
    };
    let who = match (proposal.source(), proposal.seed_offers, whose) {
        (v1::CountSource::Seed, 0, _) => "seed is at hand".to_string(),
        (v1::CountSource::Seed, n, _) => format!("{} of seed", counted(n, "offer")),
        (v1::CountSource::Plants, _, Whose::Mine) => "you keep plants of it".into(),
        (v1::CountSource::Plants, _, Whose::Club) => "members of the club keep plants of it".into(),
        (v1::CountSource::Plants, _, Whose::All) => "no seed on offer, but members keep plants of it".into(),
        (v1::CountSource::None | v1::CountSource::Unspecified, ..) => "no seed on offer".into(),
    };
    view.item(2, "", format!("{asked}; {who}."));
}

/// Shows what a sowing would teach about seeds that send up several sprouts.
fn sprouts(view: &mut View, count: &v1::CountTeaches) {
    view.item(
        2,
        "",
        format!(
            "Sow {} and count the sprouts: seeds with several, now {} in 100, would be known to a range about {:.0} wide instead of {:.0}.",
            count.judged,
            range(count.low, count.high),
            count.width_after * 100.0,
            (count.high - count.low) * 100.0,
        ),
    );
}

/// Shows a [`v1::ListKeptResponse`]; `one` if a single cultivar was asked for.
pub fn list_kept(view: &mut View, reply: &v1::ListKeptResponse, one: bool) {
    let basis = match reply.counted_members {
        0 => "No member lets their plants be counted yet.".to_string(),
        n => format!("Counted are the plants of {} who agreed.", counted(n, "member")),
    };
    match (one, reply.rows.first()) {
        (true, Some(row)) => kept_one(view, row),
        (false, Some(_)) => {
            view.title("Kept by the fewest");
            let in_club = reply.rows.iter().any(|row| row.members_in_club.is_some());
            let cells = |row: &v1::KeptCultivar| {
                let kept = match row.members_in_club {
                    Some(own) if in_club => format!("{} ({own} in the club)", row.members),
                    Some(_) | None => row.members.to_string(),
                };
                let risk = if row.at_risk { "at risk" } else { "" };
                let offers = if row.offers == 0 { "none".into() } else { row.offers.to_string() };
                [named(row.cultivar.as_ref()), kept, offers, risk.to_string()]
            };
            view.table(["CULTIVAR", "KEPT BY", "OFFERS", ""], reply.rows.iter().map(cells));
        }
        (_, None) => view.line("No plant of a named cultivar is counted."),
    }
    view.gap();
    view.note(format!(
        "{basis} At risk means: kept by three or fewer. Counts are by country, never by name."
    ));
    if let Some(row) = reply.rows.iter().find(|row| row.at_risk) {
        let name = row.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default();
        if row.offers > 0 {
            view.act("See who offers it", Deed::OfferSearch.on(&name));
        } else {
            view.act("Offer wood of it, if it is yours", Deed::OfferPost.bare());
        }
    }
    if reply.rows.iter().all(|row| row.members == 0) {
        view.act("Have your plants counted", Deed::MeCountPlants.bare());
    }
}

fn kept_one(view: &mut View, row: &v1::KeptCultivar) {
    let name = named(row.cultivar.as_ref());
    let risk = if row.at_risk { ": it may be lost" } else { "" };
    match row.members {
        0 => view.answer(format!("No member who lets their plants be counted keeps {name}.")),
        n => view.answer(format!("{name} is kept by {}{risk}.", counted(n, "member"))),
    }
    let mut places: Vec<String> =
        row.countries.iter().map(|c| format!("{} in {}", c.members, c.country_name)).collect();
    if row.elsewhere > 0 && !places.is_empty() {
        places.push(format!("{} elsewhere", row.elsewhere));
    }
    if !places.is_empty() {
        view.fact("where", places.join(", "));
    }
    if let Some(own) = row.members_in_club {
        view.fact("club", counted(own, "member"));
    }
    let offers = if row.offers == 0 {
        "no wood or plants".to_string()
    } else {
        format!("{} of wood or plants", counted(row.offers, "offer"))
    };
    view.fact("on offer", offers);
}

/// Keys of sources that were not verified begin so.
const UNVERIFIED: &str = "UNVERIFIED-";
/// Sayings that are shown.
const SAID: usize = 4;

/// Shows a [`v1::ListPartnersResponse`].
pub fn list_partners(view: &mut View, reply: &v1::ListPartnersResponse) {
    view.title(named(reply.cultivar.as_ref()));
    if !reply.flower_type.is_empty() {
        view.fact("flower type", &reply.flower_type);
    }
    for said in reply.said.iter().take(SAID) {
        let source = said.source_id.trim_start_matches(UNVERIFIED);
        let mark = if said.source_id.starts_with(UNVERIFIED) { ", not verified" } else { "" };
        let whose = if said.of_crop { "the crop" } else { "it" };
        let source = if source.is_empty() { "growers".to_string() } else { format!("{source}{mark}") };
        view.item(0, "-", format!("Of {whose}: {} ({source}).", said.text.trim_end_matches('.')));
    }
    if reply.flower_type.is_empty() && reply.said.is_empty() {
        view.line("Nothing is on file of its pollination.");
    }
    if reply.partners.is_empty() {
        view.line("No partner for it is on file, or none that you asked for.");
    } else {
        view.gap();
        let in_club = reply.partners.iter().any(|p| p.members_in_club.is_some());
        let cells = |partner: &v1::Partner| {
            let why = if partner.source_ids.is_empty() {
                format!("type {}", partner.flower_type)
            } else {
                format!("named by {}", partner.source_ids.join(", "))
            };
            let place = match partner.members_in_club {
                Some(members) if in_club => counted(members, "member"),
                Some(_) | None if partner.offers == 0 => "none".into(),
                Some(_) | None => counted(partner.offers, "offer"),
            };
            [named(partner.cultivar.as_ref()), why, place]
        };
        let place = if in_club { "IN THE CLUB" } else { "ON OFFER" };
        view.table(["MAY HELP", "WHY", place], reply.partners.iter().map(cells));
        view.note("Whether both flower at the same time is for your place to show: ask growers near you.");
        let name = |p: &v1::Partner| p.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default();
        match reply.partners.iter().find(|p| p.offers > 0) {
            Some(offered) => view.act("See who offers it", Deed::OfferSearch.on(&name(offered))),
            None => {
                if let Some(first) = reply.partners.first() {
                    view.act("Look for one", Deed::WantAddCultivar.on(&name(first)));
                }
            }
        }
    }
}
