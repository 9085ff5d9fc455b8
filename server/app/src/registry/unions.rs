//! What goes on what: the reports on file of scions and rootstocks.

use std::collections::BTreeMap;

use scionary_domain::{
    evidence::{Evidence, Value, voice::UNVERIFIED},
    names::score::GUESS,
    unions::{self, Outcome, Report, Union, partners},
};

use super::{Record, Registry};

/// Reports by crop.
pub(super) type Reports = BTreeMap<String, Vec<Report>>;

/// Descriptors of unions, with what they say.
const SAID: [(&str, Outcome); 2] = [("union_fails", Outcome::Fails), ("union_good", Outcome::Holds)];
/// How a value begins whose record is the rootstock; otherwise it is the scion.
const UNDER: &str = "under ";

impl Record {
    /// Its names, the accepted one first.
    pub fn all_names(&self) -> Vec<String> {
        let merged = self
            .merged
            .iter()
            .flat_map(|c| std::iter::once(c.name.clone()).chain(c.names.iter().map(|n| n.name.clone())));
        let own = std::iter::once(self.cultivar.name.clone());
        own.chain(self.cultivar.names.iter().map(|n| n.name.clone())).chain(merged).collect()
    }

    fn union_reports(&self) -> impl Iterator<Item = Report> + '_ {
        let pieces = SAID.iter().flat_map(move |(key, outcome)| {
            let of_key = self.findings.iter().filter(move |finding| finding.descriptor == *key);
            of_key
                .flat_map(move |finding| finding.pieces.iter().map(move |piece| (&*piece.evidence, *outcome)))
        });
        pieces
            .filter(|(piece, _)| !piece.source.starts_with(UNVERIFIED))
            .flat_map(move |(piece, outcome)| self.reports_of(piece, outcome))
    }

    fn reports_of(&self, piece: &Evidence, outcome: Outcome) -> Vec<Report> {
        let text = if let Value::Text { text } = &piece.value { text.as_str() } else { "" };
        let under = text.starts_with(UNDER);
        let stated = if piece.as_stated.is_empty() { text } else { piece.as_stated.as_str() };
        let (others, adds) = partners(stated);
        others
            .into_iter()
            .filter_map(|names| Some((names.first()?.clone(), names)))
            .map(|(other, names)| {
                let (own, own_names) = (self.cultivar.full_name(), self.all_names());
                let (scion, scion_names, stock, stock_names) =
                    if under { (other, names, own, own_names) } else { (own, own_names, other, names) };
                let (source, adds) = (piece.source.clone(), adds.clone());
                Report { scion, scion_names, stock, stock_names, outcome, source, adds }
            })
            .collect()
    }
}

impl Registry {
    fn union_reports(&self, crop: &str) -> &[Report] {
        let all = self.union_reports.get_or_init(|| {
            let mut all = Reports::new();
            for record in self.records() {
                for report in record.union_reports() {
                    all.entry(record.cultivar.crop.clone()).or_default().push(report);
                }
            }
            all
        });
        all.get(crop).map(Vec::as_slice).unwrap_or_default()
    }

    /// What is reported of a record on a rootstock, by the name that a grower gives it; none if nothing is.
    pub fn union(&self, scion: &Record, stock: &str) -> Option<Union> {
        let stock = stock.trim();
        if stock.is_empty() {
            return None;
        }
        let crop = &scion.cultivar.crop;
        if self.union_reports(crop).is_empty() {
            return None;
        }
        let mut names = vec![stock.to_string()];
        if let Some(found) = self.find(stock, crop, 1).first().filter(|found| found.hit.score >= GUESS) {
            names.extend(found.record.all_names());
        }
        unions::between(self.union_reports(crop), &scion.all_names(), &names)
    }

    /// The rootstocks that sources report on for a record.
    pub fn stocks_for(&self, scion: &Record) -> Vec<Union> {
        unions::stocks_for(self.union_reports(&scion.cultivar.crop), &scion.all_names())
    }

    /// The scions that sources report on for a record as rootstock.
    pub fn scions_for(&self, stock: &Record) -> Vec<Union> {
        unions::scions_for(self.union_reports(&stock.cultivar.crop), &stock.all_names())
    }
}
