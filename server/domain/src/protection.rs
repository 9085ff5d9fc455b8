//! Cultivars that are protected by variety rights (plant breeders' rights) or a patent: propagation material of them needs
//! the holder's consent. What an office has on file decides; this only says that there is something to ask for.

use crate::{
    field::{FieldError, Fields},
    ids::CultivarId,
    limits,
    place::AreaCode,
    time::Date,
};

crate::offer::words! {
    /// What protects it.
    Kind {
        /// Variety rights, also called plant breeders' rights.
        VarietyRight = "variety_right",
        /// A patent.
        Patent = "patent",
    }
}

/// A protection on file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Protection {
    /// Of which cultivar.
    pub cultivar: CultivarId,
    /// What.
    pub kind: Kind,
    /// The office that granted it.
    pub office: String,
    /// Its number there.
    pub reference: String,
    /// Where it holds; everywhere that is not known otherwise if empty.
    pub areas: Vec<AreaCode>,
    /// Last day, where it is known.
    pub until: Option<Date>,
    /// Where it can be looked up.
    pub citation: String,
}

impl Protection {
    /// Whether it may still hold on a day.
    pub fn holds(&self, day: Date) -> bool {
        self.until.is_none_or(|until| until >= day)
    }
    /// In one sentence.
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

/// A protection before it is checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Draft {
    /// What.
    pub kind: Option<Kind>,
    /// The office.
    pub office: String,
    /// Its number there.
    pub reference: String,
    /// Where it holds.
    pub areas: Vec<String>,
    /// Last day.
    pub until: Option<Date>,
    /// Where it can be looked up.
    pub citation: String,
}

/// Checks a protection.
///
/// # Errors
/// All wrong fields.
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
