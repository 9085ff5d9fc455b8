//! Alerts: a sick or misnamed plant, and the lots that it affects.
//!
//! A health alert goes back to possible sources, if requested, and forward from all of them, by dates and by
//! the routes of the pathogen (the search of [`super::trace`]). An identity alert reaches every lot whose
//! name comes from the plant part that was never that cultivar.

use super::{Descent, Link, Record, Route};
use crate::{
    field::{FieldError, Fields},
    ids::{AccountId, AlertId, LotId},
    limits,
    time::{Date, Timestamp},
};

crate::offer::words! {
    /// What an alert is about.
    AlertKind {
        /// The plant is sick.
        Health = "health",
        /// The plant was never that cultivar.
        Identity = "identity",
    }
}

crate::offer::words! {
    /// Part of a plant that a statement is about.
    Part {
        /// The whole plant.
        Whole = "whole",
        /// Everything above the graft, with its wood and its seed; the whole of an ungrafted plant.
        Top = "top",
        /// The rootstock below the graft.
        Root = "root",
    }
}

crate::offer::words! {
    /// State of an alert.
    AlertState {
        /// A member reported it: it warns and blocks nothing.
        Raised = "raised",
        /// A curator or an organiser confirmed it: no lot that it reaches can be offered.
        Confirmed = "confirmed",
        /// It no longer applies.
        Lifted = "lifted",
    }
}

impl AlertState {
    /// Returns whether the alert still warns.
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Raised | Self::Confirmed)
    }
}

/// A part of a lot; a node of the search.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Node {
    /// The lot.
    pub lot: LotId,
    /// The part of the lot.
    pub part: Part,
}

/// A stored alert.
#[derive(Clone, Debug, PartialEq)]
pub struct Alert {
    /// Unique id of the alert.
    pub id: AlertId,
    /// The lot that the alert starts from.
    pub lot: LotId,
    /// Key of the crop.
    pub crop: String,
    /// What the alert is about.
    pub kind: AlertKind,
    /// The part of the plant that it concerns.
    pub part: Part,
    /// Account that raised it.
    pub raised_by: AccountId,
    /// What the person saw, in words.
    pub words: String,
    /// Pest or disease; empty if not named.
    pub pest: String,
    /// Routes by which it spreads.
    pub carriers: Vec<Route>,
    /// Earliest possible day of the infection, if known.
    pub since: Option<Date>,
    /// Day on which it was seen.
    pub seen_on: Date,
    /// Whether the search also goes back to possible sources.
    pub trace_back: bool,
    /// Current state.
    pub state: AlertState,
    /// The confirming person's reason.
    pub ruling: String,
    /// Reason for lifting it.
    pub lifted_why: String,
    /// Increases by one with each change, for optimistic locking.
    pub version: i64,
    /// When it was raised.
    pub created_at: Timestamp,
}

impl Alert {
    /// Returns the node that the alert starts from.
    pub fn node(&self) -> Node {
        Node { lot: self.lot, part: self.part }
    }

    /// Converts links between lots to search records between parts of lots. For an identity alert, a record
    /// joins only parts that share the name. A wrong name starts at its lot, so an identity alert never
    /// searches back.
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

    /// Returns the routes that the search follows. A wrong name follows all of them.
    pub fn routes(&self) -> &[Route] {
        match self.kind {
            AlertKind::Health => &self.carriers,
            AlertKind::Identity => Route::ALL,
        }
    }

    /// Returns the parts of a lot that the alert can reach.
    pub const fn parts(&self) -> &'static [Part] {
        match self.kind {
            AlertKind::Health => &[Part::Whole],
            AlertKind::Identity => &[Part::Top, Part::Root],
        }
    }
}

/// A day before every stored date.
pub const ALWAYS: i64 = -1_000_000;

/// Returns the nodes that an alert starts from, each with its earliest possible day of infection. For a
/// source (node and the day on which the sick material left it) that is the day after its last valid test
/// before that day. For the alert's own lot it is the stated day, or the day after the last valid test before
/// it was seen. Without any test it is [`ALWAYS`].
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

/// An unchecked alert, as a person entered it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AlertDraft {
    /// What the alert is about; required.
    pub kind: Option<AlertKind>,
    /// Part of the plant, for an identity alert.
    pub part: Option<Part>,
    /// What the person saw, in words.
    pub words: String,
    /// Pest or disease; may be empty.
    pub pest: String,
    /// Routes by which it spreads; all routes if empty.
    pub carriers: Vec<Route>,
    /// Earliest possible day of the infection.
    pub since: Option<Date>,
    /// Day on which it was seen; today if omitted.
    pub seen_on: Option<Date>,
    /// Whether the search also goes back to possible sources.
    pub trace_back: bool,
}

/// A draft that passed every check, with defaults filled in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// What the alert is about.
    pub kind: AlertKind,
    /// The part of the plant that it concerns.
    pub part: Part,
    /// What the person saw, in words.
    pub words: String,
    /// Pest or disease; may be empty.
    pub pest: String,
    /// Routes by which it spreads, sorted.
    pub carriers: Vec<Route>,
    /// Earliest possible day of the infection, if known.
    pub since: Option<Date>,
    /// Day on which it was seen.
    pub seen_on: Date,
    /// Whether the search also goes back to possible sources.
    pub trace_back: bool,
}

/// Checks an alert. A day may lie one day after `today`, because of time zones.
///
/// # Errors
/// Returns every wrong field.
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

    /// DESIGN 5.8: an identity alert follows the plant part that it names.
    #[test]
    fn a_wrong_name_follows_its_part() {
        let links = [
            link(1, 2, Descent::CutFrom, 10),     // wood of the plant
            link(2, 3, Descent::ScionOf, 11),     // grafted
            link(1, 4, Descent::SeedFrom, 12),    // seed of the plant
            link(4, 5, Descent::RaisedFrom, 20),  // seedlings from that seed
            link(5, 6, Descent::RootstockOf, 30), // one becomes a rootstock
            link(7, 6, Descent::ScionOf, 30),     // other wood is grafted onto it
            link(6, 8, Descent::CutFrom, 40),     // wood of that graft is the other cultivar
            link(6, 9, Descent::HandedOver, 50),  // the whole graft changes hands
            link(9, 10, Descent::CutFrom, 60),
            link(1, 11, Descent::SameBlade, 60),
        ];
        let top = |n| (n, Part::Top);
        let root = |n| (n, Part::Root);
        let all = reached(&alert(AlertKind::Identity, Part::Top), &links);
        assert_eq!(all, BTreeSet::from([top(1), top(2), top(3), top(4), top(5), root(6), root(9)]));
        // An alert on the rootstock reaches only lots that contain the whole plant.
        let mut below = alert(AlertKind::Identity, Part::Root);
        below.lot = lot(6);
        assert_eq!(reached(&below, &links), BTreeSet::from([root(6), root(9)]));
        // A health alert reaches every lot in contact, and always the whole graft.
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
        assert_eq!(good.carriers, Route::ALL, "where it is unknown, everything carries it");
    }
}
