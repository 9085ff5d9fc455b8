//! Whether a change fits the registry as it is: names, targets, versions, pieces.

use std::collections::HashSet;

use scionary_domain::{
    crop::DescriptorKind,
    cultivar::Rank,
    curation::{Change, Content, apply},
    evidence::Pin,
    field::{FieldError, Fields},
    ids::{CultivarId, EvidenceId},
    names::{
        Folded,
        epithet::{self, Breach},
    },
};

use crate::{
    Error,
    registry::{Record, Registry, described},
};

/// Something that curators should know about a name, with the source of the rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// In words.
    pub text: String,
    /// The rule's source.
    pub source: String,
    /// It stands in the way, unless the name is historic.
    pub severe: bool,
}

impl From<Breach> for Remark {
    fn from(breach: Breach) -> Self {
        Self { text: breach.message, source: breach.rule.source().to_string(), severe: breach.severe }
    }
}

impl Registry {
    /// What the rules for new cultivar names say of a name in a crop.
    pub fn name_remarks(&self, crop: &str, name: &str, historic: bool) -> Vec<Remark> {
        let mut breaches = epithet::check(name);
        if historic {
            breaches = epithet::accept_historic(breaches);
        }
        let mut remarks: Vec<Remark> = breaches.into_iter().map(Remark::from).collect();
        let Some(class) = self.crop(crop).map(|c| c.denomination_class.clone()) else { return remarks };
        let mut seen = std::collections::BTreeSet::new();
        for hit in self.find(name, "", 10) {
            let other = &hit.record.cultivar;
            let same_class = self.crop(&other.crop).is_some_and(|c| c.denomination_class == class);
            if hit.hit.is_exact() && seen.insert(other.id) {
                remarks.push(Remark {
                    text: if same_class {
                        format!(
                            "{} bears this name already ({}); a name stands for one cultivar within its denomination class, {class}",
                            described(other),
                            other.id
                        )
                    } else {
                        format!(
                            "{} bears this name too; that is allowed, as it is of another denomination class",
                            described(other)
                        )
                    },
                    source: "ISHS-NAME".into(),
                    severe: same_class && !historic,
                });
            }
        }
        if let Some(near) = self.find(name, crop, 1).first().filter(|f| !f.hit.is_exact()) {
            remarks.push(Remark {
                text: format!("{} is on file under a similar name", described(&near.record.cultivar)),
                source: String::new(),
                severe: false,
            });
        }
        remarks
    }
}

/// What is wrong with a change to a record, as the registry is now. Remarks on a new name are for the curators.
pub(super) fn check(
    registry: &Registry,
    crop: &str,
    record: Option<&Record>,
    named: Option<CultivarId>,
    change: &Change,
    citation: &str,
) -> Result<Vec<Remark>, Error> {
    let mut fields = Fields::new();
    let profile = registry.crop(crop);
    if profile.is_none() {
        fields.wrong("crop", registry.crop_expected(crop));
    }
    if change.needs_citation() && citation.is_empty() {
        fields.wrong("citation", "a citation expected: a finding is set above the evidence only on one");
    }
    let needs_record = !matches!(change, Change::NewCultivar { .. } | Change::DescriptorText { .. });
    if needs_record && record.is_none() {
        fields.wrong("cultivar", "the record to change expected");
    }
    let mut remarks = Vec::new();
    if let Some((name, _, historic)) = change.new_name() {
        remarks = registry.name_remarks(crop, name, historic);
        // a record is no twin of itself
        if let Some(record) = record {
            let own = record.cultivar.id.to_string();
            remarks.retain(|r| !r.text.contains(&own));
        }
        for remark in remarks.iter().filter(|r| r.severe) {
            fields.wrong(
                "change.name",
                format!("{} [{}]; of an old name say that it is historic", remark.text, remark.source),
            );
        }
    }
    if let (Some(record), Some(profile)) = (record, profile) {
        match change {
            Change::Pin { pin: Pin { descriptor, value, .. } } => match profile.descriptor(descriptor) {
                None => fields.wrong("change.descriptor_key", format!("a descriptor of {crop} expected")),
                Some(found) => {
                    if matches!(found.kind, DescriptorKind::CountRatio | DescriptorKind::Quantity) {
                        fields.wrong(
                            "change.descriptor_key",
                            "a trait with states or words expected: counts and measures come from evidence only",
                        );
                    }
                    if let Err(expected) = value.check(found) {
                        fields.wrong("change.value", expected);
                    }
                }
            },
            Change::Merge { into } => match registry.record(*into) {
                None => fields.wrong("change.into_cultivar_id", "a cultivar on file expected"),
                Some(target) if target.cultivar.id == record.cultivar.id => {
                    fields.wrong("change.into_cultivar_id", "another record than this one expected");
                }
                Some(target) if target.cultivar.crop != record.cultivar.crop => fields.wrong(
                    "change.into_cultivar_id",
                    format!("a record of {crop} expected, one of {} found", target.cultivar.crop),
                ),
                Some(_) => {}
            },
            Change::Unmerge => {
                if !record.merged.iter().any(|m| Some(m.id) == named) {
                    fields.wrong("cultivar", "the id of a record that was merged into another one expected");
                }
            }
            Change::Split { evidence, .. } => {
                let own: HashSet<EvidenceId> = record.evidence.iter().map(|e| e.id).collect();
                let foreign = evidence.iter().find(|id| !own.contains(id));
                if let Some(id) = foreign {
                    fields
                        .wrong("change.evidence_ids", format!("pieces of this record expected, {id} found"));
                }
            }
            Change::NewCultivar { .. }
            | Change::Rename { .. }
            | Change::AddName { .. }
            | Change::RemoveName { .. }
            | Change::AddParent { .. }
            | Change::RemoveParent { .. }
            | Change::Describe { .. }
            | Change::DescriptorText { .. }
            | Change::Unpin { .. }
            | Change::Revert { .. } => {}
        }
        if let Change::AddParent { name, .. } = change
            && Folded::new(name).key() == Folded::new(&record.cultivar.name).key()
        {
            fields.wrong("change.name", "another cultivar than the record itself expected as its parent");
        }
        if let Change::AddName { name, disputed, .. } = change {
            let others = registry.find(name, crop, 5);
            let other = others
                .iter()
                .find(|f| f.hit.is_exact() && f.hit.accepted && f.record.cultivar.id != record.cultivar.id);
            if let Some(other) = other {
                let text = format!("{} bears this name as its own", described(&other.record.cultivar));
                if !*disputed {
                    fields.wrong(
                        "change.name",
                        format!("{text}; if sources disagree, say that it is disputed"),
                    );
                }
                remarks.push(Remark { text, source: String::new(), severe: false });
            }
        }
        if let Err(why) = apply(change, &Content::from(&record.cultivar), citation) {
            fields.wrong("change", why);
        }
        if record.cultivar.rank == Rank::Group && matches!(change, Change::Merge { .. }) {
            remarks.push(Remark {
                text: "this record is a group as sources name it, not one cultivar".into(),
                source: String::new(),
                severe: false,
            });
        }
    }
    if let (Change::DescriptorText { descriptor, .. }, Some(profile)) = (change, profile)
        && profile.descriptor(descriptor).is_none()
    {
        fields.wrong("change.descriptor_key", format!("a descriptor of {crop} expected"));
    }
    fields.finish(Some(()))?;
    Ok(remarks)
}

/// A field that was typed as an id or a name.
pub(super) fn id_of(text: &str) -> Option<CultivarId> {
    text.trim().parse().ok()
}

/// The error of a change that does not fit any more.
pub(super) fn misfit(why: String) -> Error {
    Error::Invalid(vec![FieldError::new("change", why)])
}
