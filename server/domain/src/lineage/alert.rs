//! Alerts: something sick or misnamed, and how far that goes.
//!
//! Health: back to what it may have come from, where that is asked for, and forward from all of that, by dates and by the
//! ways in which the pathogen travels (the search of [`super::trace`]). Identity: whatever bears the name of the part of the
//! plant that was never that cultivar.

use super::{Descent, Link, Record, Route};
use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, AlertId, LotId},
    limits,
    time::{Date, Timestamp},
};

crate::offer::words! {
    /// What is the matter.
    AlertKind {
        /// It is sick.
        Health = "health",
        /// It was never that cultivar.
        Identity = "identity",
    }
}

crate::offer::words! {
    /// Which part of a plant something is said of.
    Part {
        /// All of it.
        Whole = "whole",
        /// What grows above the graft, its wood and its seed; all of what is not grafted.
        Top = "top",
        /// The rootstock.
        Root = "root",
    }
}

crate::offer::words! {
    /// Where an alert stands.
    AlertState {
        /// Somebody says so: it warns and blocks nothing.
        Raised = "raised",
        /// A curator or an organiser bears it out: what it reaches is not offered.
        Confirmed = "confirmed",
        /// It is over.
        Lifted = "lifted",
    }
}

impl AlertState {
    /// Whether it still says something.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Raised | Self::Confirmed)
    }
}

/// A part of a lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Node {
    /// The lot.
    pub lot: LotId,
    /// Of it.
    pub part: Part,
}

/// An alert on file.
#[derive(Clone, Debug, PartialEq)]
pub struct Alert {
    /// Its id.
    pub id: AlertId,
    /// On which lot.
    pub lot: LotId,
    /// The crop's key.
    pub crop: String,
    /// What is the matter.
    pub kind: AlertKind,
    /// Of which part.
    pub part: Part,
    /// Who raised it.
    pub raised_by: AccountId,
    /// What was seen.
    pub words: String,
    /// The pest or disease, where one is named.
    pub pest: String,
    /// What carries it.
    pub carriers: Vec<Route>,
    /// Sick since when at the earliest, where that is known.
    pub since: Option<Date>,
    /// When it was seen.
    pub seen_on: Date,
    /// Whether what it may have come from is looked for too.
    pub trace_back: bool,
    /// Where it stands.
    pub state: AlertState,
    /// What the one who confirmed it says.
    pub ruling: String,
    /// Why it was lifted.
    pub lifted_why: String,
    /// Counts up with each change.
    pub version: i64,
    /// When it was raised.
    pub created_at: Timestamp,
}

impl Alert {
    /// Its start.
    pub fn node(&self) -> Node {
        Node { lot: self.lot, part: self.part }
    }

    /// Steps of descent as the search takes them: between parts of lots, by the routes of this alert. Going back, an
    /// identity alert follows nothing: a wrong name begins where it was first written.
    pub fn records(&self, links: &[Link]) -> Vec<Record<Node>> {
        let mut all = Vec::new();
        for link in links {
            let mut add = |from: Part, to: Part| {
                all.push(Record {
                    parent: Node { lot: link.parent, part: from },
                    child: Node { lot: link.child, part: to },
                    day: link.day.days(),
                    route: link.descent.route(),
                });
            };
            match (self.kind, link.descent) {
                (AlertKind::Health, _) => add(Part::Whole, Part::Whole),
                (AlertKind::Identity, Descent::PartOf | Descent::HandedOver) => {
                    add(Part::Top, Part::Top);
                    add(Part::Root, Part::Root);
                }
                (
                    AlertKind::Identity,
                    Descent::SeedFrom
                    | Descent::CutFrom
                    | Descent::RaisedFrom
                    | Descent::ScionOf
                    | Descent::GraftedOnto,
                ) => add(Part::Top, Part::Top),
                (AlertKind::Identity, Descent::RootstockOf) => add(Part::Top, Part::Root),
                (AlertKind::Identity, Descent::SameBlade) => {}
            }
        }
        all
    }

    /// The ways that the search follows: a name goes along all of them.
    pub fn routes(&self) -> &[Route] {
        match self.kind {
            AlertKind::Health => &self.carriers,
            AlertKind::Identity => Route::ALL,
        }
    }

    /// The nodes of a lot that this alert may reach.
    pub const fn parts(&self) -> &'static [Part] {
        match self.kind {
            AlertKind::Health => &[Part::Whole],
            AlertKind::Identity => &[Part::Top, Part::Root],
        }
    }
}

/// Before anything on file.
pub const ALWAYS: i64 = -1_000_000;

/// From when on the things that an alert begins at may have been infected: a source since the day after the last test that
/// speaks for it before what is sick left it; what was found, since the day that was stated, or so too.
pub fn starts(
    alert: &Alert,
    sources: impl IntoIterator<Item = (Node, i64)>,
    spoken_for: impl Fn(LotId) -> Vec<Date>,
) -> Vec<(Node, i64)> {
    let since = |lot: LotId, left: i64| {
        spoken_for(lot)
            .into_iter()
            .map(Date::days)
            .filter(|day| *day < left)
            .max()
            .map_or(ALWAYS, |day| day + 1)
    };
    let own = match (alert.kind, alert.since) {
        (AlertKind::Health, Some(since)) => since.days(),
        (AlertKind::Health, None) => since(alert.lot, alert.seen_on.days()),
        (AlertKind::Identity, _) => ALWAYS,
    };
    let others = sources
        .into_iter()
        .filter(|(node, _)| *node != alert.node())
        .map(|(node, left)| (node, since(node.lot, left)));
    others.chain([(alert.node(), own)]).collect()
}

/// An alert before it is checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AlertDraft {
    /// What is the matter.
    pub kind: Option<AlertKind>,
    /// Of which part, for a name.
    pub part: Option<Part>,
    /// What was seen.
    pub words: String,
    /// The pest or disease.
    pub pest: String,
    /// What carries it; everything where nobody knows.
    pub carriers: Vec<Route>,
    /// Sick since when at the earliest.
    pub since: Option<Date>,
    /// When it was seen; today if left out.
    pub seen_on: Option<Date>,
    /// Look for what it may have come from too.
    pub trace_back: bool,
}

/// A checked draft with its part, carriers and day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// What is the matter.
    pub kind: AlertKind,
    /// Of which part.
    pub part: Part,
    /// What was seen.
    pub words: String,
    /// The pest.
    pub pest: String,
    /// What carries it.
    pub carriers: Vec<Route>,
    /// Since when.
    pub since: Option<Date>,
    /// When it was seen.
    pub seen_on: Date,
    /// Whether to look back.
    pub trace_back: bool,
}

/// Checks an alert.
///
/// # Errors
/// All wrong fields.
pub fn checked(draft: &AlertDraft, today: Date) -> Result<Checked, Vec<FieldError>> {
    let mut fields = Fields::new();
    if draft.kind.is_none() {
        fields.wrong("alert.kind", "health or identity expected");
    }
    let words = fields.text("alert.words", &draft.words, limits::REASON_CHARS_MIN, limits::REASON_CHARS_MAX);
    let pest = fields.line("alert.pest", &draft.pest, 0, limits::NAME_CHARS_MAX);
    let seen_on = draft.seen_on.unwrap_or(today);
    if seen_on > today.plus_days(1) {
        fields.wrong("alert.seen_on", format!("today ({today}) or earlier expected, {seen_on} found"));
    }
    if let Some(since) = draft.since
        && since > seen_on
    {
        fields.wrong("alert.since", format!("{seen_on} or earlier expected, {since} found"));
    }
    let identity = draft.kind == Some(AlertKind::Identity);
    if identity && (!draft.carriers.is_empty() || draft.since.is_some() || draft.trace_back) {
        fields.wrong("alert.kind", "carriers, since and looking back belong to an alert of health");
    }
    let part = match (identity, draft.part) {
        (true, Some(Part::Root)) => Part::Root,
        (true, Some(Part::Top | Part::Whole) | None) => Part::Top,
        (false, None | Some(Part::Whole)) => Part::Whole,
        (false, Some(Part::Top | Part::Root)) => {
            fields.wrong("alert.part", "left out for health: a graft is exposed as a whole");
            Part::Whole
        }
    };
    let mut carriers = draft.carriers.clone();
    if carriers.is_empty() {
        carriers = Route::ALL.to_vec();
    }
    carriers.sort_unstable();
    carriers.dedup();
    let whole = || {
        Some(Checked {
            kind: draft.kind?,
            part,
            words: words?,
            pest: pest?,
            carriers,
            since: draft.since,
            seen_on,
            trace_back: draft.trace_back,
        })
    };
    let whole = whole();
    fields.finish(whole)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use uuid::Uuid;

    use super::{super::Direction, super::Search, *};

    fn lot(n: u128) -> LotId {
        LotId::from_uuid(Uuid::from_u128(n))
    }
    fn alert(kind: AlertKind, part: Part) -> Alert {
        Alert {
            id: AlertId::from_uuid(Uuid::from_u128(1)),
            lot: lot(1),
            crop: "mango".into(),
            kind,
            part,
            raised_by: AccountId::from_uuid(Uuid::from_u128(2)),
            words: String::new(),
            pest: String::new(),
            carriers: Route::ALL.to_vec(),
            since: None,
            seen_on: Date::from_days(100),
            trace_back: false,
            state: AlertState::Raised,
            ruling: String::new(),
            lifted_why: String::new(),
            version: 1,
            created_at: Timestamp::from_micros(0),
        }
    }
    fn link(parent: u128, child: u128, descent: Descent, day: i64) -> Link {
        Link { parent: lot(parent), child: lot(child), descent, day: Date::from_days(day) }
    }
    fn reached(alert: &Alert, links: &[Link]) -> BTreeSet<(u128, Part)> {
        let records = alert.records(links);
        let mut search = Search::new(Direction::Forward, [(alert.node(), ALWAYS)], alert.routes());
        loop {
            let wanted = search.wanted();
            if wanted.is_empty() {
                break;
            }
            search.take(records.iter().filter(|r| wanted.contains(&r.parent)));
        }
        search.found().keys().map(|n| (n.lot.uuid().as_u128(), n.part)).collect()
    }

    /// DESIGN 5.8: an identity alert follows the part of the plant that it names.
    #[test]
    fn a_wrong_name_follows_its_part() {
        let links = [
            link(1, 2, Descent::CutFrom, 10),     // wood of the plant
            link(2, 3, Descent::ScionOf, 11),     // grafted
            link(1, 4, Descent::SeedFrom, 12),    // its seed
            link(4, 5, Descent::RaisedFrom, 20),  // seedlings of it
            link(5, 6, Descent::RootstockOf, 30), // one used as a rootstock
            link(7, 6, Descent::ScionOf, 30),     // with other wood on it
            link(6, 8, Descent::CutFrom, 40),     // wood of that graft: the other cultivar
            link(6, 9, Descent::HandedOver, 50),  // the whole graft given away
            link(9, 10, Descent::CutFrom, 60),
            link(1, 11, Descent::SameBlade, 60),
        ];
        let top = |n| (n, Part::Top);
        let root = |n| (n, Part::Root);
        let all = reached(&alert(AlertKind::Identity, Part::Top), &links);
        assert_eq!(all, BTreeSet::from([top(1), top(2), top(3), top(4), top(5), root(6), root(9)]));
        // of the rootstock: only what takes the whole plant along
        let mut below = alert(AlertKind::Identity, Part::Root);
        below.lot = lot(6);
        assert_eq!(reached(&below, &links), BTreeSet::from([root(6), root(9)]));
        // sick: everything that it touched, the whole of a graft
        let sick = reached(&alert(AlertKind::Health, Part::Whole), &links);
        let lots: BTreeSet<u128> = sick.iter().map(|(n, _)| *n).collect();
        assert_eq!(lots, BTreeSet::from([1, 2, 3, 4, 5, 6, 8, 9, 10, 11]));
    }

    #[test]
    fn a_start_is_as_old_as_its_last_clean_test() {
        let sick = Alert { trace_back: true, ..alert(AlertKind::Health, Part::Whole) };
        let node = |n| Node { lot: lot(n), part: Part::Whole };
        let spoken_for =
            |l: LotId| if l == lot(5) { vec![Date::from_days(20), Date::from_days(60)] } else { Vec::new() };
        let from = starts(&sick, [(node(5), 50), (node(6), 40), (node(1), 100)], spoken_for);
        assert_eq!(
            from,
            [(node(5), 21), (node(6), ALWAYS), (node(1), ALWAYS)],
            "a test after it left says nothing"
        );
        let known = Alert { since: Some(Date::from_days(80)), ..sick };
        assert_eq!(starts(&known, [], spoken_for), [(node(1), 80)]);
    }

    #[test]
    fn fields_that_do_not_go_together() {
        let today = Date::from_days(100);
        let draft = AlertDraft {
            kind: Some(AlertKind::Identity),
            words: "The fruit is another one.".into(),
            carriers: vec![Route::Seed],
            ..Default::default()
        };
        let names = |d: &AlertDraft| -> Vec<String> {
            checked(d, today).map_or_else(|e| e.into_iter().map(|f| f.field).collect(), |_| Vec::new())
        };
        assert_eq!(names(&draft), ["alert.kind"]);
        let sick = AlertDraft {
            kind: Some(AlertKind::Health),
            carriers: Vec::new(),
            since: Some(Date::from_days(101)),
            seen_on: Some(today),
            ..draft
        };
        assert_eq!(names(&sick), ["alert.since"]);
        let good = checked(&AlertDraft { since: None, ..sick }, today).unwrap();
        assert_eq!(good.carriers, Route::ALL, "where nobody knows, everything carries it");
    }
}
