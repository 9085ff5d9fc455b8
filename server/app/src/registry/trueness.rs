//! The models of how often seed comes true, kept beside the records: a change to one cultivar's counts moves what is
//! known of its crop's others.

use std::{collections::BTreeMap, sync::Arc};

use scionary_domain::{
    evidence::{self, Evidence},
    seed::{self, Answer, Group},
    trueness::{CropModel, Observed, OffTypes, Trueness, UnitId},
};

use super::{Record, Registry};

/// A model for each crop and group.
pub(super) type Models = Arc<BTreeMap<(String, Group), CropModel>>;

impl Record {
    /// What was observed of its off-types, and the group in whose model it stands.
    fn unit(&self) -> Option<(Group, UnitId, Observed)> {
        let group = seed::group_of(&self.findings)?;
        Some((group, UnitId::Record(self.cultivar.id), OffTypes::of(&self.findings)))
    }
}

impl Registry {
    /// Everything that was counted, again.
    pub(super) fn model_all(&mut self) {
        let mut units: BTreeMap<(String, Group), Vec<(UnitId, Observed)>> = BTreeMap::new();
        for record in self.records.iter() {
            if let Some((group, id, observed)) = record.unit() {
                units.entry((record.cultivar.crop.clone(), group)).or_default().push((id, observed));
            }
        }
        for (crop, group, id, observed) in self.subjects() {
            units.entry((crop, group)).or_default().push((id, observed));
        }
        self.models = Arc::new(units.into_iter().map(|(key, units)| (key, CropModel::new(units))).collect());
    }

    /// Plants that sources count without naming a cultivar that has a record.
    fn subjects(&self) -> Vec<(String, Group, UnitId, Observed)> {
        let mut of: BTreeMap<(&str, &str), Vec<Arc<Evidence>>> = BTreeMap::new();
        for piece in self.on_crops.iter().filter(|e| !e.subject.is_empty()) {
            of.entry((&piece.crop, &piece.subject)).or_default().push(piece.clone());
        }
        of.into_iter()
            .filter_map(|((crop, subject), pieces)| {
                let findings = evidence::findings(self.crop(crop)?, &pieces, &[]);
                let observed = OffTypes::of(&findings);
                let group = seed::group_of(&findings)?;
                (!observed.is_empty())
                    .then(|| (crop.to_string(), group, UnitId::Subject(subject.into()), observed))
            })
            .collect()
    }

    /// After records have changed: what they were, and what they are.
    pub(super) fn model_changed(
        &mut self,
        before: &[(String, Group, UnitId)],
        now: &[(String, Group, UnitId, Observed)],
    ) {
        let gone = before
            .iter()
            .filter(|(crop, group, id)| !now.iter().any(|(c, g, i, _)| (c, g, i) == (crop, group, id)))
            .map(|(crop, group, id)| (crop.clone(), *group, id.clone(), Observed::default()));
        let changes: Vec<(String, Group, UnitId, Observed)> = gone.chain(now.iter().cloned()).collect();
        let empty = CropModel::default();
        for (crop, group, id, observed) in changes {
            let key = (crop, group);
            let model = self.models.get(&key).unwrap_or(&empty);
            if model.is_as(&id, &observed) {
                continue;
            }
            let Some(next) = model.changed(&id, &observed) else { return self.model_all() };
            Arc::make_mut(&mut self.models).insert(key, next);
        }
    }

    /// A record's place in the models.
    pub(super) fn unit_of(record: &Record) -> Option<(String, Group, UnitId, Observed)> {
        let (group, id, observed) = record.unit()?;
        Some((record.cultivar.crop.clone(), group, id, observed))
    }

    /// Whether the share of off-types is a question for a record: a seedling of it is not a new plant at any share.
    pub fn asks_share(&self, record: &Record) -> bool {
        seed::group_of(&record.findings).is_some()
    }

    /// What is known of a record's off-types.
    pub fn trueness(&self, record: &Record) -> Arc<Trueness> {
        let Some((group, id, observed)) = record.unit() else { return Trueness::unknown() };
        match self.models.get(&(record.cultivar.crop.clone(), group)) {
            Some(model) => model.of_cultivar(&id, &observed),
            None => CropModel::default().of_cultivar(&id, &observed),
        }
    }

    /// What is known of a crop's cultivars that are said to send up several sprouts, for one of which nothing is on file.
    pub fn trueness_of_crop(&self, crop: &str) -> Arc<Trueness> {
        let model = self.models.get(&(crop.to_string(), Group::SaidPolyembryonic));
        model.map_or_else(Trueness::unknown, CropModel::of_uncounted)
    }

    /// The short answer on a record's seed, and the same in words.
    pub fn seed_of(&self, record: &Record) -> (Answer, String) {
        match self.crop(&record.cultivar.crop) {
            Some(crop) => seed::short_answer(crop, &record.findings, &self.trueness(record)),
            None => (Answer::Unknown, String::new()),
        }
    }
}
