//! Reading files of rules. Every mistake is listed with its file and line, all at once; what is wrong is never taken.

use scionary_domain::{
    movement::{
        self, Above, Authorities, Authority, Expression, Kind, Member, OnFile, OpenTo, Part, Parts, Pest,
        Places, Rule, Rules, Side, Taxa, Verdict,
    },
    time::Date,
};
use serde::{Deserialize, de::DeserializeOwned};

/// The files of one source of rules; an empty text for one that is not there.
#[derive(Clone, Debug, Default)]
pub struct MovementFiles {
    /// The source's name.
    pub name: String,
    /// `rules.csv`.
    pub rules: String,
    /// `places.csv`: members of areas and blocs.
    pub places: String,
    /// `aliases.csv`: further codes of places.
    pub aliases: String,
    /// `taxa.csv`: names and what lies above them.
    pub taxa: String,
    /// `pests.csv`.
    pub pests: String,
    /// `authorities.csv`: whom to ask of which place.
    pub authorities: String,
}

#[derive(Deserialize)]
struct RuleRow {
    rule: String,
    version: u32,
    kind: String,
    hosts: String,
    parts: String,
    from: String,
    to: String,
    verdict: String,
    conditions: String,
    instrument: String,
    authority: String,
    effective_from: String,
    effective_to: String,
    text_date: String,
    #[serde(default)]
    checked_on: String,
    review_by: String,
    citation: String,
    source_url: String,
    excepts: String,
    open_to: String,
    void_if: String,
    alternative_for: String,
    most: Option<u32>,
    on_the_way: String,
    note: String,
    #[serde(default)]
    read_how: String,
}
#[derive(Deserialize)]
struct PlaceRow {
    area: String,
    place: String,
    from: String,
    to: String,
    citation: String,
}
#[derive(Deserialize)]
struct AliasRow {
    code: String,
    stands_for: String,
}
#[derive(Deserialize)]
struct TaxonRow {
    name: String,
    within: String,
    #[serde(default)]
    how: String,
}
#[derive(Deserialize)]
struct AuthorityRow {
    place: String,
    side: String,
    name: String,
    source: String,
}
#[derive(Deserialize)]
struct PestRow {
    name: String,
    #[serde(rename = "eppo_code")]
    _eppo_code: String,
    hosts: String,
    carried_by: String,
    not_by: String,
    how: String,
    source: String,
}

/// Rows of a file, each with its line.
fn rows<T: DeserializeOwned>(at: &str, text: &str, wrong: &mut Vec<String>) -> Vec<(u64, T)> {
    if text.trim().is_empty() {
        return Vec::new();
    }
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let mut all = Vec::new();
    let headers = match reader.headers() {
        Ok(headers) => headers.clone(),
        Err(error) => {
            wrong.push(format!("{at}: {error}"));
            return all;
        }
    };
    for row in reader.records() {
        match row {
            Err(error) => wrong.push(format!("{at}: {error}")),
            Ok(record) => {
                let line = record.position().map_or(0, csv::Position::line);
                match record.deserialize(Some(&headers)) {
                    Ok(value) => all.push((line, value)),
                    Err(error) => wrong.push(format!("{at} line {line}: {error}")),
                }
            }
        }
    }
    all
}

/// One row's values, with what is wrong noted under its line.
struct Row<'a> {
    at: String,
    wrong: &'a mut Vec<String>,
}

impl Row<'_> {
    fn note(&mut self, expected: String) {
        self.wrong.push(format!("{}: {expected}", self.at));
    }
    fn take<T, E: std::fmt::Display>(&mut self, field: &str, value: Result<T, E>) -> Option<T> {
        value.map_err(|e| self.note(format!("{field}: {e}"))).ok()
    }
    fn day(&mut self, field: &str, text: &str) -> Option<Date> {
        if text.trim().is_empty() { None } else { self.take(field, text.parse::<Date>()) }
    }
}

fn list(text: &str) -> Vec<String> {
    text.split(';').map(str::trim).filter(|t| !t.is_empty()).map(Into::into).collect()
}

fn one(text: &str) -> Option<String> {
    Some(text.trim()).filter(|t| !t.is_empty()).map(Into::into)
}

fn rule(row: RuleRow, mut at: Row<'_>) -> Option<Rule> {
    let kind = match row.kind.as_str() {
        "rule" => Some(Kind::Rule),
        "stub" => Some(Kind::Stub),
        "unverified" => Some(Kind::Unverified),
        other => {
            at.note(format!("kind: rule, stub or unverified expected, {other:?} found"));
            None
        }
    };
    let mut parts = Vec::new();
    for word in row.parts.split('|').map(str::trim) {
        match Part::from_word(word) {
            Some(part) => parts.push(part),
            None => at.note(format!("parts: a part of a plant expected, {word:?} found")),
        }
    }
    let verdict = Verdict::from_words(&row.verdict);
    if verdict.is_none() {
        at.note(format!("verdict: the words of a verdict expected, {:?} found", row.verdict));
    }
    let open_to = match row.open_to.as_str() {
        "" => None,
        "anyone" => Some(OpenTo::Anyone),
        "registered_operator" => Some(OpenTo::RegisteredOperator),
        "permit_only" => Some(OpenTo::PermitOnly),
        "research_only" => Some(OpenTo::ResearchOnly),
        other => {
            at.note(format!("open_to: to whom the exception is open expected, {other:?} found"));
            None
        }
    };
    let (from, to) =
        (at.take("from", Expression::parse(&row.from)), at.take("to", Expression::parse(&row.to)));
    let effective_from = at.day("effective_from", &row.effective_from);
    let effective_to = at.day("effective_to", &row.effective_to);
    let checked_on = at.day("checked_on", &row.checked_on);
    let review_by = at.day("review_by", &row.review_by);
    Some(Rule {
        id: row.rule,
        version: row.version,
        kind: kind?,
        hosts: list(&row.hosts),
        parts: Parts::of(&parts),
        from: from?,
        to: to?,
        verdict: verdict?,
        conditions: row.conditions,
        instrument: row.instrument,
        authority: row.authority,
        effective_from,
        effective_to,
        text_date: row.text_date,
        checked_on,
        review_by,
        citation: row.citation,
        source_url: row.source_url,
        excepts: one(&row.excepts),
        open_to,
        void_if: list(&row.void_if),
        alternative_for: one(&row.alternative_for),
        most: row.most,
        on_the_way: row.on_the_way == "yes",
        note: row.note,
        read_how: row.read_how,
    })
}

fn authority(row: AuthorityRow, at: &mut Row<'_>) -> Option<Authority> {
    let side = match row.side.as_str() {
        "" => None,
        "leaving" => Some(Side::Leaving),
        "entering" => Some(Side::Entering),
        "within" => Some(Side::Within),
        other => {
            at.note(format!("side: leaving, entering, within or nothing expected, {other:?} found"));
            return None;
        }
    };
    if row.name.trim().is_empty() || row.source.trim().is_empty() || row.place.trim().is_empty() {
        at.note("place, name and source expected".into());
        return None;
    }
    Some(Authority { place: row.place, side, name: row.name, source: row.source })
}

/// Reads all sources together: rules of one may name areas of another.
///
/// # Errors
/// Every mistake, with file and line.
pub fn read(sources: &[MovementFiles]) -> Result<Rules, Vec<String>> {
    let mut wrong = Vec::new();
    let (mut rules, mut members, mut aliases, mut taxa, mut pests, mut authorities) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for files in sources {
        let at = |file: &str| format!("{}/movement/{file}", files.name);
        for (line, row) in rows::<RuleRow>(&at("rules.csv"), &files.rules, &mut wrong) {
            let row_at = format!("{} line {line}", at("rules.csv"));
            rules.extend(rule(row, Row { at: row_at, wrong: &mut wrong }));
        }
        for (line, row) in rows::<PlaceRow>(&at("places.csv"), &files.places, &mut wrong) {
            let mut at = Row { at: format!("{} line {line}", at("places.csv")), wrong: &mut wrong };
            let (from, to) = (at.day("from", &row.from), at.day("to", &row.to));
            members.push(Member { area: row.area, place: row.place, from, to, citation: row.citation });
        }
        let pairs = rows::<AliasRow>(&at("aliases.csv"), &files.aliases, &mut wrong);
        aliases.extend(pairs.into_iter().map(|(_, row)| (row.code, row.stands_for)));
        let names = rows::<TaxonRow>(&at("taxa.csv"), &files.taxa, &mut wrong);
        for (line, TaxonRow { name, within, how }) in names {
            let mut at = Row { at: format!("{} line {line}", at("taxa.csv")), wrong: &mut wrong };
            if !matches!(how.as_str(), "" | "parent") {
                at.note(format!("how: parent, or nothing, expected, {how:?} found"));
            }
            taxa.push(Above { name, within, parent: how == "parent" });
        }
        for (line, row) in rows::<AuthorityRow>(&at("authorities.csv"), &files.authorities, &mut wrong) {
            let mut at = Row { at: format!("{} line {line}", at("authorities.csv")), wrong: &mut wrong };
            authorities.extend(authority(row, &mut at));
        }
        let known = rows::<PestRow>(&at("pests.csv"), &files.pests, &mut wrong);
        pests.extend(known.into_iter().map(|(_, row)| Pest {
            name: row.name,
            hosts: list(&row.hosts),
            carried_by: row.carried_by,
            not_by: row.not_by,
            how: row.how,
            source: row.source,
        }));
    }
    wrong.extend(
        movement::check(&rules).into_iter().map(|(rule, expected)| format!("rule {rule}: {expected}")),
    );
    if wrong.is_empty() {
        let places = Places::new(members, aliases);
        let authorities = Authorities::new(authorities, &places);
        Ok(Rules::new(OnFile { rules, places, taxa: Taxa::new(taxa), pests, authorities }))
    } else {
        Err(wrong)
    }
}
