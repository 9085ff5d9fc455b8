//! Seasons of ripe fruit.

use scionary_proto::v1;

use crate::lookup::named;
use crate::{Deed, View, words};

const MONTHS: [&str; 12] = ["Ja", "Fe", "Mr", "Ap", "My", "Jn", "Jl", "Au", "Se", "Oc", "No", "De"];
/// Shares of place-years, half and a tenth: the limits that findings use for core and full season.
const OFTEN: f64 = 0.5;
const SOMETIMES: f64 = 0.1;

/// Returns twelve months of two half-month marks each. A season that no grower saw (0 place-years) has its own marks.
pub fn bars(row: &v1::SeasonRow) -> String {
    if row.expected.is_empty() {
        return if row.published.is_empty() { "no season on file" } else { "not seen by growers yet" }.into();
    }
    let (often, sometimes) = if row.place_years > 0 { ('#', '-') } else { ('~', '-') };
    let mut text = String::new();
    for (at, share) in row.expected.iter().enumerate() {
        if at > 0 && at % 2 == 0 {
            text.push(' ');
        }
        text.push(if *share >= OFTEN {
            often
        } else if *share >= SOMETIMES {
            sometimes
        } else {
            '.'
        });
    }
    text
}

/// Returns half months as text: `early May`, `late May`. `all` counts half months from 0 to 23.
pub fn halves(all: &[i32]) -> String {
    let one =
        |at: i32| format!("{} {}", if at % 2 == 0 { "early" } else { "late" }, words::month(at / 2 + 1));
    let text: Vec<String> = words::runs(all, 0, 23)
        .into_iter()
        .map(|(from, to)| if from == to { one(from) } else { format!("{} to {}", one(from), one(to)) })
        .collect();
    text.join(", ")
}

pub(crate) fn row(row: &v1::SeasonRow) -> [String; 3] {
    let years = |n: i32| if n == 1 { "1 place-year".to_string() } else { format!("{n} place-years") };
    let seen = match (row.place_years, row.near_place_years) {
        (0, _) if row.expected.is_empty() => String::new(),
        (0, _) => "no one yet".into(),
        (all, 0) => years(all),
        (all, near) if all == near => format!("{}, near", years(all)),
        (all, near) => format!("{}, {near} near", years(all)),
    };
    [row.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default(), bars(row), seen]
}

/// Returns a row for the whole months that a source names, with its own bars.
pub fn published(season: &v1::PublishedSeason) -> [String; 3] {
    let (from, to) = (season.from_month, season.to_month);
    let holds =
        |month: i32| if from <= to { (from..=to).contains(&month) } else { month >= from || month <= to };
    let bars: Vec<&str> = (1..=12).map(|month| if holds(month) { "==" } else { ".." }).collect();
    let place = if season.place.is_empty() {
        "  place not told".to_string()
    } else {
        format!("  in {}", season.place)
    };
    [place, bars.join(" "), format!("published, {}", season.source_id)]
}

/// Shows when cultivars are ripe at a place, and the gaps between them.
pub fn show(view: &mut View, reply: &v1::GetSeasonsResponse, asked_for_fillers: bool) {
    let months = MONTHS.join(" ");
    let lines = reply
        .rows
        .iter()
        .flat_map(|own| std::iter::once(row(own)).chain(own.published.iter().map(published)));
    view.table(["RIPE", months.as_str(), "SEEN IN"], lines);
    if reply.rows.iter().any(|r| !r.published.is_empty()) {
        view.note("=: whole months that a source names, as they fall in its place. Elsewhere it is ripe at other times, so they are not counted in what is to be expected.");
    }
    if reply.near_equator {
        view.line("When is it ripe there? Near the equator, seasons follow the rains. So only what growers saw within 300 km is drawn, nothing from elsewhere. Ask one of them.");
        view.act("Enter what you see", Deed::EvidenceAddSeason.bare());
    }
    let leaning = if reply.rows.iter().any(|r| r.place_years == 0 && !r.expected.is_empty()) {
        " ~: no one has seen it yet; as usual for the crop."
    } else {
        ""
    };
    let drawn = reply.rows.iter().any(|r| !r.expected.is_empty());
    if drawn {
        view.note(format!(
        "#: to be expected ripe in half or more of the years; -: in a tenth or more.{leaning} Where few saw it, what is known elsewhere and of the crop is counted in. Two halves a month, {} of the equator.",
        if reply.south { "south" } else { "north" }
        ));
    }
    for row in reply.rows.iter().filter(|r| r.half_months.is_empty() && !r.text.is_empty()) {
        let name = row.cultivar.as_ref().map(|c| c.name.clone()).unwrap_or_default();
        view.item(0, "-", format!("{name}, in words only: {}", row.text));
    }
    view.gap();
    let unseen = reply.rows.iter().all(|r| r.expected.is_empty());
    if unseen && reply.near_equator {
        return;
    }
    if unseen {
        view.line("No grower whose evidence counts has entered both the first and the last ripe day of these. So there are no bars of theirs, and no gaps to fill.");
        view.act("Enter both days when you pick", Deed::EvidenceAddSeason.bare());
        return;
    }
    if reply.gaps.is_empty() {
        view.line("Something is ripe all year.");
        return;
    }
    view.line(format!("Nothing is ripe: {}.", halves(&reply.gaps)));
    if !asked_for_fillers {
        return;
    }
    view.gap();
    if reply.fillers.is_empty() {
        view.line("No cultivar on offer there has a season on file that fills any of it.");
        return;
    }
    view.title("On offer, and ripe then");
    for filler in &reply.fillers {
        let name = named(filler.row.as_ref().and_then(|r| r.cultivar.as_ref()));
        let near = filler.nearest_km.map(|km| format!(", the nearest {km} km away")).unwrap_or_default();
        let offers = if filler.offers == 1 { "1 offer".into() } else { format!("{} offers", filler.offers) };
        view.item(0, "-", format!("{name}: {}; {offers}{near}.", halves(&filler.fills)));
    }
    view.act("See what is offered", Deed::OfferSearch.bare());
    view.note("Before anything is moved, ask the plant-health authority of both places.");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_of_half_months_in_words() {
        assert_eq!(halves(&[8, 9, 10]), "early May to early June");
        assert_eq!(halves(&[3]), "late February");
        assert_eq!(halves(&[0, 1, 12, 22, 23]), "early December to late January, early July");
        let all: Vec<i32> = (0..24).collect();
        assert_eq!(halves(&all), "early January to late December");
    }

    #[test]
    fn bars_have_two_halves_a_month() {
        let row = v1::SeasonRow {
            place_years: 3,
            expected: [1.0, 0.2].into_iter().chain([0.0; 22]).collect(),
            ..Default::default()
        };
        assert_eq!(bars(&row), "#- .. .. .. .. .. .. .. .. .. .. ..");
    }
}
