//! Cultivars that are protected by variety rights (plant breeders' rights) or a patent: propagation material needs
//! the holder's consent. The office's register decides; a record here only says that there is a holder to ask.

use crate::{
    field::{FieldError, Fields},
    ids::CultivarId,
    limits,
    place::AreaCode,
    time::Date,
};

crate::offer::words! {
    /// Kind of protection.
    Kind {
        /// Variety rights, also called plant breeders' rights.
        VarietyRight = "variety_right",
        /// Patent on the cultivar.
        Patent = "patent",
    }
}

/// A protection on file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Protection {
    /// Protected cultivar.
    pub cultivar: CultivarId,
    /// Kind of protection.
    pub kind: Kind,
    /// Office that granted it.
    pub office: String,
    /// Number at the office.
    pub reference: String,
    /// Areas in which it holds; if empty, assume everywhere.
    pub areas: Vec<AreaCode>,
    /// Last day of protection; `None` if unknown.
    pub until: Option<Date>,
    /// Citation, such as the office's register.
    pub citation: String,
}

impl Protection {
    /// Returns true if the protection may still hold on a day.
    pub fn holds(&self, day: Date) -> bool {
        self.until.is_none_or(|until| until >= day)
    }
    /// Returns the protection in one sentence.
    pub fn sentence(&self) -> String {
        let what = match self.kind {
            Kind::VarietyRight => "variety rights",
            Kind::Patent => "a patent",
        };
        let until = self.until.map(|day| format!(", until {day}")).unwrap_or_default();
        format!(
            "Protected by {what} ({}, {}{until}): passing on propagation material of it needs the holder's consent",
            self.office, self.reference
        )
    }
}

/// A protection before [`check`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Draft {
    /// Kind of protection.
    pub kind: Option<Kind>,
    /// Office that granted it.
    pub office: String,
    /// Number at the office.
    pub reference: String,
    /// Area codes in which it holds.
    pub areas: Vec<String>,
    /// Last day of protection.
    pub until: Option<Date>,
    /// Citation, such as the office's register.
    pub citation: String,
}

/// Checks a protection of a cultivar.
///
/// # Errors
/// Returns one [`FieldError`] for every wrong field.
pub fn check(draft: &Draft, cultivar: CultivarId) -> Result<Protection, Vec<FieldError>> {
    let mut fields = Fields::new();
    if draft.kind.is_none() {
        fields.wrong("protection.kind", "variety right or patent expected");
    }
    let office = fields.line("protection.office", &draft.office, 2, limits::NAME_CHARS_MAX);
    let reference = fields.line("protection.reference", &draft.reference, 1, limits::NAME_CHARS_MAX);
    let citation = fields.line(
        "protection.citation",
        &draft.citation,
        limits::CITATION_CHARS_MIN,
        limits::CITATION_CHARS_MAX,
    );
    if draft.areas.len() > limits::CHOICES_MAX {
        fields.wrong("protection.area_codes", format!("at most {} expected", limits::CHOICES_MAX));
    }
    let areas = draft
        .areas
        .iter()
        .take(limits::CHOICES_MAX)
        .enumerate()
        .filter_map(|(at, code)| fields.take(&format!("protection.area_codes[{at}]"), AreaCode::parse(code)))
        .collect();
    let whole = || {
        Some(Protection {
            cultivar,
            kind: draft.kind?,
            office: office?,
            reference: reference?,
            areas,
            until: draft.until,
            citation: citation?,
        })
    };
    let whole = whole();
    fields.finish(whole)
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;

    #[test]
    fn checked_and_over_in_time() {
        let draft = Draft {
            kind: Some(Kind::VarietyRight),
            office: "Larkland Office".into(),
            reference: "2019/044".into(),
            areas: vec!["XB".into()],
            until: Some(Date::from_days(100)),
            citation: "Register of varieties, 2024".into(),
        };
        let protection = check(&draft, CultivarId::from_uuid(Uuid::nil())).unwrap();
        assert!(protection.holds(Date::from_days(100)) && !protection.holds(Date::from_days(101)));
        assert!(protection.sentence().contains("2019/044"));
        let bad = Draft { areas: vec!["nowhere".into()], citation: String::new(), ..draft };
        let wrong: Vec<String> = check(&bad, CultivarId::from_uuid(Uuid::nil()))
            .unwrap_err()
            .into_iter()
            .map(|f| f.field)
            .collect();
        assert_eq!(wrong, ["protection.citation", "protection.area_codes[0]"]);
    }
}
