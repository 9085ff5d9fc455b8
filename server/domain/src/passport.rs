//! Passport data of a plant as rows of text for a CSV writer, by the FAO/Bioversity Multi-Crop Passport
//! Descriptors V.2.1 (A. Alercia, S. Diulgheroff, M. Mackay, 2015), in short MCPD V.2.1. The caller escapes the
//! cells. Comments mark what is from memory and not read in the standard.

use unicode_normalization::{UnicodeNormalization, char::is_combining_mark};

/// All fields of MCPD V.2.1, nos. 0 to 28, in the standard's order.
#[rustfmt::skip]
pub const FIELDS: [&str; 41] = [
    "PUID", "INSTCODE", "ACCENUMB", "COLLNUMB", "COLLCODE", "COLLNAME", "COLLINSTADDRESS", "COLLMISSID",
    "GENUS", "SPECIES", "SPAUTHOR", "SUBTAXA", "SUBTAUTHOR", "CROPNAME", "ACCENAME", "ACQDATE", "ORIGCTY",
    "COLLSITE", "DECLATITUDE", "LATITUDE", "DECLONGITUDE", "LONGITUDE", "COORDUNCERT", "COORDDATUM",
    "GEOREFMETH", "ELEVATION", "COLLDATE", "BREDCODE", "BREDNAME", "SAMPSTAT", "ANCEST", "COLLSRC",
    "DONORCODE", "DONORNAME", "DONORNUMB", "OTHERNUMB", "DUPLSITE", "DUPLINSTNAME", "STORAGE", "MLSSTAT",
    "REMARKS",
];

/// Codes of SAMPSTAT, biological status of the sample (MCPD V.2.1 no. 19).
const SAMPSTAT: &str = "100 110 120 130 200 300 400 410 411 412 413 414 415 416 420 421 422 423 500 600 999";
/// Codes of COLLSRC, collecting source (MCPD V.2.1 no. 21).
const COLLSRC: &str = "10 11 12 13 14 15 20 21 22 23 24 25 26 27 28 30 40 50 60 61 62 99";
/// Codes of STORAGE, type of storage (MCPD V.2.1 no. 26).
const STORAGE: &str = "10 11 12 13 20 30 40 50 99";
/// Codes of MLSSTAT, status in the Multilateral System (MCPD V.2.1 no. 27).
const MLSSTAT: &str = "0 1 99";
/// Message for a malformed institute code (MCPD V.2.1 no. 1).
const INSTITUTE: &str = "an institute's code is three capitals and a number, such as COL001";

/// The passport fields that a registry can know; unknown fields stay empty.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Passport {
    /// No. 0: persistent identifier; if empty, built from institute, number and genus.
    pub puid: String,
    /// No. 1: code of the holding institute.
    pub instcode: String,
    /// No. 2: accession number at the holder.
    pub accenumb: String,
    /// No. 5: genus.
    pub genus: String,
    /// No. 6: species epithet.
    pub species: String,
    /// No. 7: authority of the species name.
    pub spauthor: String,
    /// No. 8: subspecies, variety, form or Group.
    pub subtaxa: String,
    /// No. 9: authority of the lowest of these.
    pub subtauthor: String,
    /// No. 10: common name of the crop.
    pub cropname: String,
    /// No. 11: names of the accession.
    pub accename: Vec<String>,
    /// No. 12: acquisition date, as [`date`] writes it.
    pub acqdate: String,
    /// No. 13: country of origin, as [`country`] writes it.
    pub origcty: String,
    /// No. 19: biological status of the sample.
    pub sampstat: Option<u16>,
    /// No. 20: parents.
    pub ancest: String,
    /// No. 21: collecting source.
    pub collsrc: Option<u16>,
    /// No. 24: numbers at other institutes, `INSTCODE:number` or only the number.
    pub othernumb: Vec<String>,
    /// No. 28: remarks, each with the field that it explains, or an empty text for none.
    pub remarks: Vec<(String, String)>,
}

impl Passport {
    /// Returns one cell for each of [`FIELDS`].
    pub fn row(&self) -> Vec<String> {
        FIELDS.iter().map(|field| self.cell(field)).collect()
    }

    fn cell(&self, field: &str) -> String {
        let code = |code: Option<u16>| code.map_or_else(String::new, |code| code.to_string());
        match field {
            "PUID" => self.puid(),
            "INSTCODE" => single(&self.instcode),
            "ACCENUMB" => single(&self.accenumb),
            "GENUS" => single(&self.genus),
            "SPECIES" => single(&self.species),
            "SPAUTHOR" => single(&self.spauthor),
            "SUBTAXA" => single(&self.subtaxa),
            "SUBTAUTHOR" => single(&self.subtauthor),
            "CROPNAME" => single(&self.cropname),
            "ACCENAME" => joined(&self.accename),
            "ACQDATE" => single(&self.acqdate),
            "ORIGCTY" => single(&self.origcty),
            "SAMPSTAT" => code(self.sampstat),
            "ANCEST" => single(&self.ancest),
            "COLLSRC" => code(self.collsrc),
            "OTHERNUMB" => joined(&self.othernumb.iter().map(|n| other_number(n)).collect::<Vec<_>>()),
            "REMARKS" => joined(&self.remarks.iter().map(remark).collect::<Vec<_>>()),
            _ => String::new(),
        }
    }

    /// MCPD V.2.1 no. 0: without its own identifier, INSTCODE:ACCENUMB:GENUS with the genus in capitals, as in
    /// the example NOR017:NGB17773:ALLIUM.
    fn puid(&self) -> String {
        let parts = [single(&self.instcode), single(&self.accenumb), single(&self.genus).to_uppercase()];
        let made = if parts.iter().any(String::is_empty) { String::new() } else { parts.join(":") };
        if self.puid.trim().is_empty() { made } else { single(&self.puid) }
    }
}

/// Returns a value on one line with single spaces. A comma replaces a semicolon, which would split the value.
fn single(value: &str) -> String {
    let plain = value.replace(';', ",").replace(char::is_control, " ");
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Joins values by `;` without a space. Empty values are left out, and a `;` inside a value becomes `,` (MCPD
/// V.2.1, common rules; the comma is our choice).
pub fn joined(values: &[String]) -> String {
    let values: Vec<String> = values.iter().map(|v| single(v)).filter(|v| !v.is_empty()).collect();
    values.join(";")
}

/// MCPD V.2.1 no. 24: without a known institute the identifier begins with a colon.
fn other_number(number: &str) -> String {
    let number = single(number);
    let known =
        number.split_once(':').filter(|(institute, _)| institute.is_empty() || is_institute(institute));
    let (institute, own) = known.unwrap_or(("", &number));
    if own.is_empty() { String::new() } else { format!("{institute}:{own}") }
}

/// MCPD V.2.1 no. 28: the field's name and a colon precede the text, without a space.
fn remark((field, text): &(String, String)) -> String {
    let (field, text) = (single(field), single(text));
    if text.is_empty() || field.is_empty() { text } else { format!("{field}:{text}") }
}

/// Returns a date as YYYYMMDD, with hyphens for a missing or out-of-range month or day; empty without a year of
/// one to four digits (MCPD V.2.1, common rules).
pub fn date(year: i32, month: Option<u8>, day: Option<u8>) -> String {
    let part = |part: Option<u8>, last: u8| {
        part.filter(|p| (1..=last).contains(p)).map_or_else(|| "--".to_string(), |p| format!("{p:02}"))
    };
    if (1..=9999).contains(&year) {
        format!("{year:04}{}{}", part(month, 12), part(day, 31))
    } else {
        String::new()
    }
}

/// Common English names that ISO 3166-1 spells otherwise. From memory.
const COUNTRY_NAMES: &str = "BOL bolivia|GBR britain|BRN brunei|MMR burma|CPV cape verde|CZE czech republic|\
    COD democratic republic of the congo|COD dr congo|TLS east timor|GBR england|GBR great britain|\
    CIV ivory coast|LAO laos|MAC macau|PRK north korea|GBR northern ireland|COG republic of the congo|\
    RUS russia|GBR scotland|KOR south korea|SWZ swaziland|SYR syria|TUR turkey|GBR u.k.|USA u.s.|USA u.s.a.|\
    GBR uk|GBR united kingdom|USA united states|USA us|VNM vietnam|GBR wales";
/// Names of more than one country, or of a country and also a state or region.
const UNSURE: &[&str] = &["", "congo", "georgia", "korea", "micronesia", "saint martin", "virgin islands"];
/// Subdivisions that also have an ISO 3166-1 code of their own. From memory.
const OWN_CODE: &str = "AS US-AS|GU US-GU|MP US-MP|PR US-PR|UM US-UM|VI US-VI|GP FR-971|MQ FR-972|GF FR-973|\
    RE FR-974|YT FR-976|BL FR-BL|MF FR-MF|NC FR-NC|PF FR-PF|PM FR-PM|TF FR-TF|WF FR-WF|HK CN-HK|MO CN-MO|\
    TW CN-TW|AW NL-AW|CW NL-CW|SX NL-SX|BQ NL-BQ1|BQ NL-BQ2|BQ NL-BQ3|AX FI-01|SJ NO-21|SJ NO-22";

/// Returns the code that precedes a text in one of these lists.
fn code_of<'a>(list: &'a str, text: &str) -> Option<&'a str> {
    let mut pairs = list.split('|').filter_map(|pair| pair.split_once(' '));
    pairs.find_map(|(code, known)| (known == text).then_some(code))
}

/// Returns the ISO 3166-1 alpha-3 code for an area code such as `AU-QLD`, an alpha-2 or alpha-3 code in
/// capitals, or an English country name; `None` if uncertain (`Georgia` may be either).
pub fn country(text: &str) -> Option<String> {
    let text = text.trim();
    let is_part = |p: &str| matches!(p.len(), 1..=3) && p.chars().all(|c| fits(c, 'A') || fits(c, '9'));
    let code = text.split_once('-').filter(|(_, part)| is_part(part)).map_or(text, |(country, _)| country);
    let by_code = match code.len() {
        2 => rust_iso3166::from_alpha2(code_of(OWN_CODE, text).unwrap_or(code)),
        3 if code == text => rust_iso3166::from_alpha3(code),
        _ => None,
    };
    let folded = fold_name(text);
    let name = folded.strip_prefix("the ").unwrap_or(&folded);
    if by_code.is_some() || UNSURE.contains(&name) {
        return by_code.map(|country| country.alpha3.to_string());
    }
    // Matches "Bolivia (Plurinational State of)" without its brackets too.
    let mut found = rust_iso3166::ALL.iter().filter(|country| {
        let official = fold_name(country.name);
        official == name || official.strip_suffix(')').is_some_and(|o| o.split(" (").next() == Some(name))
    });
    let one = found.next().filter(|_| found.next().is_none()).map(|country| country.alpha3);
    code_of(COUNTRY_NAMES, name).or(one).map(str::to_string)
}

fn fold_name(name: &str) -> String {
    let plain = name.nfkd().filter(|c| !is_combining_mark(*c)).map(|c| if c == '’' { '\'' } else { c });
    plain.collect::<String>().to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A botanical name split for MCPD V.2.1 nos. 5 to 9.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Botanical {
    /// Genus with a capital, without a hybrid sign.
    pub genus: String,
    /// Epithet in lower case; `sp.` if unknown; a hybrid is written `x tangelo` (from memory).
    pub species: String,
    /// Authority of the species name.
    pub spauthor: String,
    /// Subtaxa in order, each with its rank, such as `var. sinensis`.
    pub subtaxa: String,
    /// Authority of the lowest subtaxon.
    pub subtauthor: String,
    /// Text that fits none of these parts, as remarks for [`Passport::remarks`].
    pub remarks: Vec<(String, String)>,
}

impl Botanical {
    fn remark(&mut self, field: &str, text: &str) {
        if !text.trim().is_empty() {
            self.remarks.push((field.to_string(), single(text)));
        }
    }
    /// Returns the authors if every word can be part of an author's name; otherwise moves them to a remark.
    fn certain_author(&mut self, field: &str, authors: String) -> String {
        let is_author = |word: &str| {
            let initial = word.trim_start_matches(['(', '[']).chars().next();
            IN_AUTHORS.contains(&word) || word.starts_with("d'") || initial.is_some_and(char::is_uppercase)
        };
        if authors.split(' ').all(is_author) {
            return authors;
        }
        self.remark(field, &authors);
        String::new()
    }
    fn unknown_species(&mut self, text: &str) {
        self.species = "sp.".to_string();
        self.remark("SPECIES", text);
    }
}

/// Words in small letters between or in the names of authors. From memory.
#[rustfmt::skip]
const IN_AUTHORS: &[&str] = &[
    "&", "al.", "and", "apud", "auct.", "da", "de", "den", "der", "du", "emend.", "et", "ex", "f.", "fil.",
    "hort.", "in", "la", "le", "van", "von", "y",
];

/// Words that mark an unknown species.
const UNKNOWN: &[&str] = &["spp.", "spp", "cf.", "cf", "aff.", "aff", "hybrid", "hybrids"];

/// Splits a botanical name. Uncertain text, such as a hybrid formula, goes to the remarks unchanged.
pub fn botanical(text: &str) -> Botanical {
    let mut result = Botanical::default();
    let mut name = single(&text.replace(['×', '✕', '⨯'], " x "));
    // A synonym in brackets or a cultivar in quotation marks follows the name.
    if let Some((before, after)) = name.split_once(" (syn") {
        result.remark("SPECIES", &format!("syn{}", after.strip_suffix(')').unwrap_or(after)));
        name = before.to_string();
    }
    if name.ends_with(['\'', '"', '’', '”'])
        && let Some(at) = [" '", " \"", " ‘", " “"].iter().filter_map(|quote| name.find(quote)).min()
    {
        let (before, cultivar) = name.split_at(at);
        result.remark("", cultivar);
        name = before.to_string();
    }
    // An X at the end is an author, so only an X between words is a hybrid sign.
    let name = name.replace(" X ", " x ");
    let words: Vec<&str> = name.split(' ').collect();
    let of_genera = words.first() == Some(&"x");
    let words = words.get(usize::from(of_genera)..).unwrap_or_default();
    let [genus, rest @ ..] = words else { return result };
    let is_hybrid = matches!(rest, ["x", epithet, ..] if is_epithet(epithet));
    let is_formula = rest.iter().skip(usize::from(is_hybrid)).any(|word| *word == "x");
    let initial: String = genus.chars().take(1).chain(['.']).collect();
    let in_genus = |pair: &[&str]| match pair {
        ["x", word] => is_epithet(word) || word == genus || **word == initial,
        _ => true,
    };
    // A hybrid between two genera has the name of neither.
    if !is_genus(genus) || (is_formula && (rest.last() == Some(&"x") || !rest.windows(2).all(in_genus))) {
        result.remark("GENUS", &name);
        return result;
    }
    result.genus = genus.to_string();
    if of_genera {
        result.remark("GENUS", &format!("x {genus}"));
    }
    match rest {
        [] => {}
        _ if is_formula => result.unknown_species(&name),
        ["x", epithet, rest @ ..] => {
            result.species = format!("x {epithet}");
            below_species(&mut result, rest);
        }
        ["sp." | "sp", rest @ ..] => result.unknown_species(&rest.join(" ")),
        _ if rest.iter().any(|word| UNKNOWN.contains(word)) => result.unknown_species(&rest.join(" ")),
        [epithet, rest @ ..] if is_epithet(epithet) => {
            result.species = (*epithet).to_string();
            below_species(&mut result, rest);
        }
        // A genus with its author; MCPD has no field for that author.
        [..] => result.remark("GENUS", &name),
    }
    result
}

fn is_genus(word: &str) -> bool {
    let mut letters = word.chars();
    letters.next().is_some_and(char::is_uppercase) && is_epithet(letters.as_str())
}
/// Returns true for two or more lower-case letters, with hyphens between parts.
fn is_epithet(word: &str) -> bool {
    let is_part = |part: &str| !part.is_empty() && part.chars().all(char::is_lowercase);
    word.len() > 1 && word.split('-').all(is_part)
}

/// Returns the abbreviation of a rank as MCPD V.2.1 no. 8 writes it. `Group` follows its name and is not here.
fn rank(word: &str) -> Option<&'static str> {
    match word {
        "subsp." | "subsp" | "ssp." | "ssp" => Some("subsp."),
        "convar." | "convar" => Some("convar."),
        "var." | "var" => Some("var."),
        "f." | "forma" | "fo." => Some("f."),
        _ => None,
    }
}

/// Reads authors, then ranks, each with an epithet and its authors.
fn below_species(result: &mut Botanical, words: &[&str]) {
    let (mut subtaxa, mut of_species, mut authors) = (Vec::new(), None, Vec::<&str>::new());
    let mut left = words;
    while let [word, rest @ ..] = left {
        left = rest;
        let taxon = match (rank(word), rest) {
            // "f." before an author or "ex" is filius, the son.
            (Some(rank), [epithet, after @ ..]) if is_epithet(epithet) && !IN_AUTHORS.contains(epithet) => {
                left = after;
                format!("{rank} {epithet}")
            }
            _ if word.trim_end_matches(')') == "Group" && !authors.is_empty() => {
                format!("{} Group", authors.pop().unwrap_or_default().trim_start_matches('('))
            }
            _ => {
                authors.push(word);
                continue;
            }
        };
        // MCPD only asks for the authors of the species and of the last subtaxon.
        of_species.get_or_insert_with(|| authors.join(" "));
        authors.clear();
        subtaxa.push(taxon);
    }
    let last = authors.join(" ");
    let (first, last) = of_species.map_or_else(|| (last.clone(), String::new()), |s| (s, last.clone()));
    result.spauthor = result.certain_author("SPAUTHOR", first);
    result.subtauthor = result.certain_author("SUBTAUTHOR", last);
    result.subtaxa = subtaxa.join(" ");
}

/// Checks a row against the formats of MCPD V.2.1 and returns each wrong field with the reason. Empty cells are
/// unknown values and always pass. Only the form of an institute code is checked.
pub fn check(row: &[String]) -> Vec<(String, String)> {
    let mut wrong = Vec::new();
    if row.len() != FIELDS.len() {
        wrong.push((String::new(), format!("{} cells expected, {} found", FIELDS.len(), row.len())));
    }
    let remarks = FIELDS.iter().zip(row).find(|(field, _)| **field == "REMARKS").map_or("", |(_, cell)| cell);
    for (field, cell) in FIELDS.iter().zip(row).filter(|(_, cell)| !cell.is_empty()) {
        let mut add = |reason: &str| wrong.push(((*field).to_string(), reason.to_string()));
        // MCPD V.2.1, common rules.
        if cell.split(';').any(|value| value.is_empty() || value != single(value)) {
            add("values are joined by ; alone, none is empty or has line breaks or spare spaces");
        }
        if let Some(reason) = wrong_format(field, cell) {
            add(reason);
        }
        // MCPD V.2.1 no. 19: code 999 needs an explanation in REMARKS.
        if *field == "SAMPSTAT" && cell == "999" && !remarks.split(';').any(|r| r.starts_with("SAMPSTAT:")) {
            add("999 (other) is explained in REMARKS, after SAMPSTAT:");
        }
    }
    wrong
}

/// Returns the reason why a cell does not follow MCPD V.2.1; `None` if it does.
#[rustfmt::skip]
fn wrong_format(field: &str, cell: &str) -> Option<&'static str> {
    let all = |good: fn(&str) -> bool| cell.split(';').all(good);
    let in_list = |list: &str, value: &str| list.split(' ').any(|code| code == value);
    let (right, reason) = match field {
        // From memory: the second three fields take several codes.
        "INSTCODE" | "DONORCODE" => (is_institute(cell), INSTITUTE),
        "COLLCODE" | "BREDCODE" | "DUPLSITE" => (all(is_institute), INSTITUTE),
        "GENUS" => (is_genus(cell), "one word with a capital first letter expected"),
        // From memory: an x precedes the epithet of a hybrid.
        "SPECIES" => (cell == "sp." || is_epithet(cell.strip_prefix("x ").unwrap_or(cell)),
            "an epithet in lower case, or sp., expected"),
        "SUBTAXA" => (cell.split(' ').all(|word| !word.ends_with('.') || rank(word) == Some(word)),
            "of abbreviations only subsp., convar., var., f. and Group are allowed"),
        "ACQDATE" | "COLLDATE" =>
            (is_date(cell), "a date is YYYYMMDD, with -- or 00 for a missing month or day"),
        "ORIGCTY" => (is_like(cell, "AAA"), "a country is three capitals of ISO 3166-1, such as IDN"),
        "DECLATITUDE" => (is_degrees(cell, 90.0), "decimal degrees from -90 to 90 expected"),
        "DECLONGITUDE" => (is_degrees(cell, 180.0), "decimal degrees from -180 to 180 expected"),
        "LATITUDE" => (is_like(cell, "99????A") && cell.ends_with(['N', 'S']),
            "DDMMSS and N or S expected, such as 103020S"),
        "LONGITUDE" => (is_like(cell, "999????A") && cell.ends_with(['E', 'W']),
            "DDDMMSS and E or W expected, such as 0762510W"),
        "COORDUNCERT" => (cell.parse::<u32>().is_ok(), "whole metres expected"),
        "ELEVATION" => (cell.parse::<i32>().is_ok(), "whole metres above sea level expected"),
        "SAMPSTAT" => (in_list(SAMPSTAT, cell), "no kind of sample has this code"),
        "COLLSRC" => (in_list(COLLSRC, cell), "no collecting source has this code"),
        "STORAGE" => (cell.split(';').all(|code| in_list(STORAGE, code)), "no kind of storage has this code"),
        "MLSSTAT" => (in_list(MLSSTAT, cell), "0, 1 or 99 expected"),
        "OTHERNUMB" => (cell.split(';').all(|number| other_number(number) == number),
            "INSTCODE:identifier expected, or :identifier without a known institute"),
        "REMARKS" => (all(is_remark), "the field's name, a colon and the text without a space expected"),
        _ => return None,
    };
    (!right).then_some(reason)
}

/// Returns true if `c` fits the pattern character: `9` is a digit, `?` a digit or a hyphen, `A` a capital.
fn fits(c: char, kind: char) -> bool {
    matches!((kind, c), ('A', 'A'..='Z') | ('9' | '?', '0'..='9') | ('?', '-'))
}
fn is_like(text: &str, kinds: &str) -> bool {
    text.len() == kinds.len() && text.chars().zip(kinds.chars()).all(|(c, kind)| fits(c, kind))
}
/// MCPD V.2.1 no. 1: three capitals and a number.
fn is_institute(code: &str) -> bool {
    let kinds = "AAA".chars().chain(std::iter::repeat('9'));
    code.len() > 3 && code.chars().zip(kinds).all(|(c, kind)| fits(c, kind))
}
fn is_date(text: &str) -> bool {
    let up_to = |part: Option<&str>, last: u8| {
        part.is_some_and(|p| p == "--" || p.parse::<u8>().is_ok_and(|number| number <= last))
    };
    is_like(text, "9999????") && up_to(text.get(4..6), 12) && up_to(text.get(6..8), 31)
}
fn is_degrees(text: &str, limit: f64) -> bool {
    text.chars().all(|c| fits(c, '?') || matches!(c, '+' | '.'))
        && text.parse::<f64>().is_ok_and(|degrees| degrees.abs() <= limit)
}
/// A word in capitals before a colon must be a field name; a remark about no field has none.
fn is_remark(text: &str) -> bool {
    let capitals = |word: &str| !word.is_empty() && word.chars().all(|c| fits(c, 'A'));
    let named = text.split_once(':').filter(|(field, _)| capitals(field));
    named.is_none_or(|(field, rest)| FIELDS.contains(&field) && !rest.is_empty() && !rest.starts_with(' '))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Returns the parts joined by bars, each remark in braces.
    fn parts(text: &str) -> String {
        let b = botanical(text);
        let remarks: Vec<String> = b.remarks.iter().map(|r| format!("{{{}}}", remark(r))).collect();
        [b.genus, b.species, b.spauthor, b.subtaxa, b.subtauthor, remarks.concat()].join("|")
    }
    fn cells(list: &str) -> impl Iterator<Item = (&str, &str)> {
        list.split('|').filter_map(|cell| cell.trim().split_once(' '))
    }
    fn wrong(field: &str, value: &str) -> Vec<String> {
        let cell = |f: &&str| if *f == field { value.to_string() } else { String::new() };
        check(&FIELDS.iter().map(cell).collect::<Vec<_>>()).into_iter().map(|(field, _)| field).collect()
    }

    #[test]
    fn examples_of_the_standard_pass_and_wrong_cells_do_not() {
        let good = "PUID NOR017:NGB17773:ALLIUM | INSTCODE COL001 | ACCENUMB PI 113869 | COLLNUMB FM9909
            | COLLMISSID CIATFOR052 | ACCENAME Symphony;Emma;Songino | DECLATITUDE -44.6975 | STORAGE 20;30
            | DECLONGITUDE +120.9123 | LATITUDE 103020S | LATITUDE 10----S | LONGITUDE 0762510W
            | ELEVATION -12 | COORDDATUM WGS84 | ANCEST Hanna/7*Atlas//Turk/8*Atlas | SAMPSTAT 416
            | ANCEST selection from Irene | REMARKS COLLSRC:riverside | COLLSRC 22 | SPECIES sp.
            | ACQDATE 197506-- | ACQDATE 1975---- | ACQDATE 19750600 | OTHERNUMB COL001:12;:B 4";
        for (field, value) in cells(good) {
            assert!(wrong(field, value).is_empty(), "{field} {value}");
        }
        let bad = "INSTCODE col1 | INSTCODE COL | GENUS mangifera | GENUS MANGIFERA | SPECIES Indica
            | SPECIES spp. | SUBTAXA cv. Kent | ACQDATE 1975 | ACQDATE 19751301 | ACQDATE 1975-06-01
            | ORIGCTY AU | ORIGCTY aus | SAMPSTAT 425 | SAMPSTAT 0416 | SAMPSTAT 999 | COLLSRC 29
            | STORAGE 20;31 | MLSSTAT 2 | DECLATITUDE 91 | DECLATITUDE nan | LATITUDE 1030S
            | LATITUDE 102020E | LONGITUDE 0762510S | ELEVATION high | OTHERNUMB PI 113869
            | REMARKS COLLSRC: riverside | REMARKS NOFIELD:riverside | ACCENAME Symphony; Emma
            | ACCENAME Symphony;;Emma";
        for (field, value) in cells(bad).chain([("CROPNAME", "mango "), ("CROPNAME", "man\ngo")]) {
            assert!(wrong(field, value).contains(&field.to_string()), "{field} {value}");
        }
        assert_eq!(check(&[]).len(), 1);
    }

    #[test]
    fn a_row_has_its_cells_in_order() {
        let text = |s: &str| s.to_string();
        let plant = Passport {
            instcode: text("NOR017"),
            accenumb: text("M 12"),
            genus: text("Mangifera"),
            accename: vec![text("Kent"), text("a; b"), text(" ")],
            acqdate: date(2019, Some(5), None),
            origcty: country("US-FL").unwrap(),
            sampstat: Some(999),
            ancest: text("Brooks; open\npollinated"),
            collsrc: Some(22),
            othernumb: ["B 4", "COL001:7", ":9", ":"].map(text).to_vec(),
            remarks: vec![(text("SAMPSTAT"), text("graft; of two")), (text(""), text("club tree"))],
            ..Passport::default()
        };
        let row = plant.row();
        let filled = FIELDS.iter().zip(&row).filter(|(_, cell)| !cell.is_empty());
        let filled: Vec<String> = filled.map(|(field, cell)| format!("{field} {cell}")).collect();
        let expected = "PUID NOR017:M 12:MANGIFERA|INSTCODE NOR017|ACCENUMB M 12|GENUS Mangifera\
            |ACCENAME Kent;a, b|ACQDATE 201905--|ORIGCTY USA|SAMPSTAT 999\
            |ANCEST Brooks, open pollinated|COLLSRC 22|OTHERNUMB :B 4;COL001:7;:9\
            |REMARKS SAMPSTAT:graft, of two;club tree";
        assert_eq!(filled.join("|"), expected);
        assert_eq!(check(&row), []);
        assert_eq!(Passport::default().row().concat(), "");
        assert_eq!(joined(&["Symphony", "Emma", "Songino"].map(text)), "Symphony;Emma;Songino");
    }

    #[test]
    fn botanical_names_come_apart() {
        let names = "Mangifera indica L. => Mangifera|indica|L.|||
            Citrus sinensis (L.) Osbeck => Citrus|sinensis|(L.) Osbeck|||
            Citrus x tangelo J.W. Ingram & H.E. Moore => Citrus|x tangelo|J.W. Ingram & H.E. Moore|||
            Citrus unshiu (Yu. Tanaka ex Swingle) Marcow. => Citrus|unshiu|(Yu. Tanaka ex Swingle) Marcow.|||
            Citrus sp. => Citrus|sp.||||
            Citrus => Citrus|||||
            Citrus L. => Citrus|||||{GENUS:Citrus L.}
            ×Citrofortunella microcarpa (Bunge) Wijnands =>\
                Citrofortunella|microcarpa|(Bunge) Wijnands|||{GENUS:x Citrofortunella}
            Citrus x aurantium L. var. sinensis L. => Citrus|x aurantium|L.|var. sinensis|L.|
            Beta vulgaris L. ssp. maritima Hook. f. ex Wall. f. alba Mill. =>\
                Beta|vulgaris|L.|subsp. maritima f. alba|Mill.|
            Brassica oleracea L. Capitata Group => Brassica|oleracea|L.|Capitata Group||
            Mangifera indica 'Kent' => Mangifera|indica||||{'Kent'}
            Citrus trifoliata L. (syn. Poncirus trifoliata (L.) Raf.) =>\
                Citrus|trifoliata|L.|||{SPECIES:syn. Poncirus trifoliata (L.) Raf.}
            Citrus cf. limon => Citrus|sp.||||{SPECIES:cf. limon}
            Citrus aurantiifolia hybrid => Citrus|sp.||||{SPECIES:aurantiifolia hybrid}
            Citrus reticulata x C. paradisi => Citrus|sp.||||{SPECIES:Citrus reticulata x C. paradisi}
            C. paradisi x P. trifoliata => |||||{GENUS:C. paradisi x P. trifoliata}
            Citrus sinensis x Poncirus trifoliata => |||||{GENUS:Citrus sinensis x Poncirus trifoliata}
            Citrus limon from Meyer => Citrus|limon||||{SPAUTHOR:from Meyer}";
        for (name, expected) in names.lines().filter_map(|line| line.trim().split_once(" =>")) {
            assert_eq!(parts(name), expected.trim(), "{name}");
        }
        assert_eq!(parts(""), "|||||");
    }

    #[test]
    fn dates_and_countries() {
        assert_eq!([date(1975, Some(6), None), date(2024, Some(2), Some(29))], ["197506--", "20240229"]);
        assert_eq!([date(2023, Some(13), Some(32)), date(0, None, None)], ["2023----", ""]);
        let known = "AUS AU-QLD | AUS AU | AUS AUS | USA US-FL | PRI US-PR | REU FR-974 | GBR GB-ENG
            | IDN Indonesia | VNM viet nam | VNM Vietnam | BOL Bolivia | TZA Tanzania | IRN Iran | TUR Turkey
            | CIV Cote d’Ivoire | REU Réunion | REU Reunion | GMB the Gambia | BHS The Bahamas | USA USA
            | USA United States | GBR UK | NER Niger | TWN Taiwan | NLD Netherlands | GIN Guinea";
        for (code, text) in cells(known) {
            assert_eq!(country(text).as_deref(), Some(code), "{text}");
        }
        let unknown = "au|Georgia|Congo|Korea|Virgin Islands|Hawaii|Miami, 1945|XX|XA-T1|ZZ|ABC|Indonesian|\
            the|Hawaii, from the West Indies|AU-|unknown|";
        for text in unknown.split('|') {
            assert_eq!(country(text), None, "{text}");
        }
        assert!(rust_iso3166::ALL.iter().all(|c| country(c.alpha2).as_deref() == Some(c.alpha3)));
        for (code, _) in cells(COUNTRY_NAMES).chain(cells(OWN_CODE)) {
            assert!(country(code).is_some(), "{code}");
        }
    }

    proptest! {
        #[test]
        fn any_text_makes_a_row_without_faults(text in any::<String>(), field in any::<String>()) {
            let b = botanical(&text);
            let _ = (country(&text), check(&[text.clone(), field]));
            let plant = Passport {
                genus: b.genus, species: b.species, spauthor: b.spauthor, subtaxa: b.subtaxa,
                subtauthor: b.subtauthor, remarks: b.remarks, cropname: text.clone(),
                accename: vec![text.clone(), text.clone()], othernumb: vec![text], ..Passport::default()
            };
            prop_assert_eq!(check(&plant.row()), []);
        }
        #[test]
        fn plain_names_keep_all(g in "[A-Z][a-z]{2,9}", s in "[a-z]{4,9}", a in "[A-Z][a-z]{0,5}\\.?") {
            prop_assume!(!UNKNOWN.contains(&s.as_str()));
            prop_assert_eq!(parts(&format!("{g} {s} {a}")), format!("{g}|{s}|{a}|||"));
        }
        #[test]
        fn every_date_is_right(year in 1..10_000, month: Option<u8>, day: Option<u8>) {
            prop_assert!(is_date(&date(year, month, day)));
        }
    }
}
