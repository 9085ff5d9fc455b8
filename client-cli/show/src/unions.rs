//! What goes on what.

use scionary_proto::v1;

use crate::words::counted;

fn sources(ids: &[String]) -> String {
    counted(i32::try_from(ids.len()).unwrap_or(i32::MAX), "source")
}

/// Returns what sources report of a union, without the pair.
pub fn outcome(report: &v1::UnionReport) -> String {
    let (fails, holds) = (&report.fails_source_ids, &report.holds_source_ids);
    let adds = if report.adds.is_empty() { String::new() } else { format!("; {}", report.adds.join("; ")) };
    let text = match (fails.as_slice(), holds.as_slice()) {
        ([], _) => format!("reported to hold ({})", sources(holds)),
        (_, []) => format!("reported to fail ({}{adds})", sources(fails)),
        (_, _) => format!(
            "sources disagree: reported to fail ({}{adds}), and to hold ({})",
            sources(fails),
            sources(holds)
        ),
    };
    if report.of_group { format!("{text}, said of a wider group") } else { text }
}

/// Returns what sources report of a pair: `Eureka lemon on trifoliate orange: reported to fail (2 sources)`.
pub fn pair(report: &v1::UnionReport) -> String {
    format!("{} on {}: {}", report.scion, report.rootstock, outcome(report))
}

/// Returns on one line the partners that fail, and those that hold; `other` picks the partner.
pub fn brief(reports: &[v1::UnionReport], other: impl Fn(&v1::UnionReport) -> &str, most: usize) -> String {
    let fails: Vec<&v1::UnionReport> = reports.iter().filter(|r| !r.fails_source_ids.is_empty()).collect();
    let holds: Vec<&v1::UnionReport> = reports.iter().filter(|r| r.fails_source_ids.is_empty()).collect();
    let list = |which: &[&v1::UnionReport]| {
        let names: Vec<&str> = which.iter().take(most).map(|r| other(r)).collect();
        let more = which.len().saturating_sub(most);
        if more == 0 { names.join(", ") } else { format!("{} and {more} more", names.join(", ")) }
    };
    let mut parts = Vec::new();
    if !fails.is_empty() {
        parts.push(format!("reported to fail: {}", list(&fails)));
    }
    if !holds.is_empty() {
        parts.push(format!("reported to hold: {}", list(&holds)));
    }
    parts.join("; ")
}
