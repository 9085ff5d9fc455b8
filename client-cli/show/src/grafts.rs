//! The grafting log.

use scionary_proto::v1;

use crate::{Deed, View, words};
use crate::{crop::range, odds::cited};

/// Shows a [`v1::CreateGraftsResponse`].
pub fn create_grafts(view: &mut View, reply: &v1::CreateGraftsResponse) {
    view.line("Entered:");
    reply.grafts.iter().for_each(|g| show(view, g));
    if reply.grafts.as_ref().is_some_and(|g| g.taken.is_none()) {
        view.gap();
        view.note(
            "After three weeks or more, say how many took. Earlier counts are kept, and asked for again.",
        );
        let id = reply.grafts.as_ref().map(|g| g.graft_id.as_str()).unwrap_or_default();
        view.act("Report", Deed::GraftReport.on(id));
    }
}

/// Shows a [`v1::ReportTakesResponse`].
pub fn report_takes(view: &mut View, reply: &v1::ReportTakesResponse) {
    view.line("Reported. It counts in the rates once someone has vouched for you:");
    reply.grafts.iter().for_each(|g| show(view, g));
}

/// Shows a [`v1::ListMyGraftsResponse`].
pub fn list_my_grafts(view: &mut View, reply: &v1::ListMyGraftsResponse, open: bool) {
    if reply.grafts.is_empty() && open {
        view.line("None waits for a report.");
    } else if reply.grafts.is_empty() {
        view.line("Your grafting log is empty.");
        view.act("Enter grafts", Deed::GraftLog.bare());
    }
    reply.grafts.iter().for_each(|g| show(view, g));
    view.more(&reply.next_page_token);
}

/// Shows an entry of the log in a few lines.
pub fn show(view: &mut View, entry: &v1::Grafts) {
    let took = match entry.taken {
        None if entry.report_due => format!("{} made; how many took?", entry.made),
        Some(taken) if entry.report_due => {
            format!("{taken} of {} lived when you looked; how many took?", entry.made)
        }
        Some(taken) => format!("{taken} of {} took", entry.made),
        None => format!("{} made", entry.made),
    };
    let side = if entry.south { "south" } else { "north" };
    let method = words::graft_method(entry.method());
    let text = format!(
        "{}: {} ({}), {method}, {took}; counted as {} {side} of the equator",
        words::day(entry.day),
        entry.cultivar_name,
        entry.crop,
        entry.day.map_or("?", |d| words::month(d.month)),
    );
    view.entry(&entry.graft_id, text);
    let parts: Vec<String> =
        [("scions from", &entry.scion_from), ("on", &entry.rootstock), ("note:", &entry.note)]
            .into_iter()
            .filter(|(_, text)| !text.is_empty())
            .map(|(label, text)| format!("{label} {text}"))
            .collect();
    if !parts.is_empty() {
        view.item(5, "", parts.join("; "));
    }
    if let Some(union) = &entry.union_report {
        view.item(5, "!", format!("{}.", crate::unions::pair(union)));
    }
}

pub(crate) fn percent(share: f64) -> String {
    format!("{:.0}", share * 100.0)
}

/// Returns a rate of takes in words.
pub fn told(rate: &v1::GraftRate) -> String {
    format!(
        "{} to {} of 100 take on the average ({} growers, about {} grafts)",
        percent(rate.low),
        percent(rate.high),
        rate.growers,
        rate.about
    )
}

/// Returns the overall rate and the three methods with the most grafts in one line; `None` if too few growers reported.
pub fn rates_line(rates: &[v1::GraftRate]) -> Option<String> {
    let all = rates.iter().find(|r| r.method() == v1::GraftMethod::Unspecified)?;
    let mut parts = vec![told(all)];
    let mut methods: Vec<&v1::GraftRate> =
        rates.iter().filter(|r| r.method() != v1::GraftMethod::Unspecified).collect();
    methods.sort_by_key(|r| std::cmp::Reverse(r.about));
    for rate in methods.into_iter().take(3) {
        let method = words::graft_method(rate.method());
        parts.push(format!("{method} {} to {}", percent(rate.low), percent(rate.high)));
    }
    Some(parts.join("; "))
}

/// Shows how many grafts took, by method and month.
pub fn rates(view: &mut View, reply: &v1::GetGraftRatesResponse, south: bool, all: bool) {
    if reply.rates.is_empty() {
        view.line("Fewer than three vouched-for growers have reported grafts of it. Nothing is shown, to keep their logs private.");
        view.act("Enter yours", Deed::GraftLog.bare());
    } else {
        let month = |m: i32| match m {
            0 => "any month",
            m if south => words::month((m + 5) % 12 + 1),
            m => words::month(m),
        };
        view.title("How often grafts take, on the average over growers");
        view.table(
            ["METHOD", "MONTH", "OF 100 TAKE", "GROWERS", "GRAFTS"],
            reply.rates.iter().map(|r| {
                let all = r.method() == v1::GraftMethod::Unspecified;
                let method = if all { "all".to_string() } else { words::graft_method(r.method()) };
                [
                    method,
                    month(r.month).to_string(),
                    format!("{} to {}", percent(r.low), percent(r.high)),
                    r.growers.to_string(),
                    format!("about {}", r.about),
                ]
            }),
        );
        view.note(format!(
            "The average lies in the range nine times of ten; one grower's own rate may lie outside. Grafts of one hand are alike, so many of them count for few. Months are those {} of the equator.",
            if south { "south" } else { "north" }
        ));
    }
    if !reply.published.is_empty() {
        view.gap();
        view.title("Published");
        for timing in &reply.published {
            let note = if timing.note.is_empty() { String::new() } else { format!(" ({})", timing.note) };
            view.item(0, "-", format!("{}: {} [{}]{note}", timing.label, range(timing), timing.origin));
        }
        cited(view, &reply.sources, all);
    }
}
