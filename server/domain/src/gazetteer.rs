//! Places by name: towns, subdivisions of countries and countries, as people write them.
//!
//! Rules, in this order: the longest leading words that name something are the place, and the words after them are its
//! state or country; own names come before other names, the preferred country before others, then more people first.
//! The first is taken without asking if a qualifier was given or it is much larger than the second.

use std::collections::HashMap;

use crate::{
    limits,
    place::{AreaCode, GridCode},
};

/// A town with this many times the people of the next one is meant.
const MUCH_LARGER: u64 = 5;
/// A country and a subdivision count as towns of at least so many people, in hundreds; of more if their largest town has
/// more.
const LIKE_COUNTRY: u32 = 3_000;
const LIKE_SUBDIVISION: u32 = 1_000;
/// But never as more than these.
const LIKE_AT_MOST: u32 = 20_000;
/// People in a unit of the table's counts.
const PEOPLE: u64 = 100;

/// The tables of a gazetteer.
#[derive(Debug)]
pub struct Gazetteer {
    /// Names of all entries, one after the other.
    names: String,
    entries: Vec<Entry>,
    /// Hashes of the folded names of entries, sorted: each with its entry, and whether the name is the entry's own.
    keys: Vec<(u64, u32, bool)>,
    /// Country codes (ISO 3166-1) with their names, folded.
    countries: Vec<(String, Vec<u64>)>,
}

impl Entry {
    /// Returns how likely the entry is meant, in hundreds of people.
    fn weight(&self) -> u64 {
        u64::from(match (self.people, self.code.contains('-')) {
            (0, false) => self.largest.clamp(LIKE_COUNTRY, LIKE_AT_MOST),
            (0, true) => self.largest.clamp(LIKE_SUBDIVISION, LIKE_AT_MOST),
            (people, _) => people,
        })
    }
}

#[derive(Debug)]
struct Entry {
    /// Start of the name in `names`, and its length.
    name: (u32, u16),
    /// Country (ISO 3166-1), or subdivision (ISO 3166-2).
    code: Box<str>,
    /// Hundredths of a degree north and east; none for a country.
    at: Option<(i16, i16)>,
    /// Hundreds of people; 0 for a subdivision or a country.
    people: u32,
    /// Hundreds of people in the largest town of a subdivision or a country.
    largest: u32,
}

/// A place that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Name, such as `Brisbane`.
    pub name: String,
    /// Name with the subdivision and the country, such as `Brisbane, Queensland, Australia`.
    pub full_name: String,
    /// Subdivision, or else the country.
    pub area: AreaCode,
    /// Cell of the town, or of the largest town of a subdivision; `None` for a country.
    pub grid: Option<GridCode>,
    /// People who live there, to a hundred; 0 for a subdivision or a country.
    pub people: u64,
}

/// Result of a search.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answer {
    /// Places, the likeliest first.
    pub places: Vec<Found>,
    /// Whether the first can be taken without asking.
    pub clear: bool,
}

/// Folds a name to its letters and digits in ASCII, without spaces.
fn folded(text: &str) -> String {
    any_ascii::any_ascii(text)
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .map(|c| c.to_ascii_lowercase())
        .collect()
}

/// FNV-1a of 64 bits (Fowler, Noll and Vo; IETF draft-eastlake-fnv).
fn hash(folded: &str) -> u64 {
    folded.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3))
}

/// Error for a row that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{table}, line {line}: a column is missing or no number")]
pub struct GazetteerError {
    /// Name of the table.
    pub table: &'static str,
    /// Line of the table, from 1.
    pub line: usize,
}

impl Gazetteer {
    /// Reads tables of tab-separated values. Towns: name, country code, subdivision code without the country,
    /// hundredths of a degree north and east, hundreds of people, other names. Subdivisions: code, name, hundredths
    /// of a degree north and east of the largest town, other names. Countries: code, three-letter code, name, other
    /// names. Other names are separated by semicolons.
    ///
    /// # Errors
    /// Returns a [`GazetteerError`] for the first row that cannot be read.
    pub fn read(towns: &str, subdivisions: &str, countries: &str) -> Result<Self, GazetteerError> {
        let mut all =
            Self { names: String::new(), entries: Vec::new(), keys: Vec::new(), countries: Vec::new() };
        for (line, row) in countries.lines().enumerate() {
            let wrong = GazetteerError { table: "countries", line: line + 1 };
            let [code, three, name, others] = columns(row).ok_or(wrong)?;
            let names = [code, three, name].into_iter().chain(others.split(';'));
            all.countries.push((code.into(), names.map(folded).map(|n| hash(&n)).collect()));
            all.add(name, code, None, 0, others.split(';').chain([three]));
        }
        for (line, row) in subdivisions.lines().enumerate() {
            let wrong = || GazetteerError { table: "subdivisions", line: line + 1 };
            let [code, name, north, east, others] = columns(row).ok_or_else(wrong)?;
            let at = match (north, east) {
                ("", _) | (_, "") => None,
                (north, east) => north.parse().ok().zip(east.parse().ok()),
            };
            let tail = code.split_once('-').map_or("", |(_, tail)| tail);
            all.add(name, code, at, 0, others.split(';').chain([tail, code]));
        }
        for (line, row) in towns.lines().enumerate() {
            let wrong = || GazetteerError { table: "towns", line: line + 1 };
            let [name, country, tail, north, east, people, others] = columns(row).ok_or_else(wrong)?;
            let code = if tail.is_empty() { country.to_string() } else { format!("{country}-{tail}") };
            let at: Option<(i16, i16)> = north.parse().ok().zip(east.parse().ok());
            let people = people.parse().map_err(|_| wrong())?;
            all.add(name, &code, Some(at.ok_or_else(wrong)?), people, others.split(';'));
        }
        let mut largest: HashMap<&str, u32> = HashMap::new();
        for town in all.entries.iter().filter(|e| e.people > 0) {
            let country = town.code.split('-').next().unwrap_or_default();
            for code in [&*town.code, country] {
                let most = largest.entry(code).or_default();
                *most = town.people.max(*most);
            }
        }
        let sizes: Vec<u32> =
            all.entries.iter().map(|e| largest.get(&*e.code).copied().unwrap_or_default()).collect();
        for (entry, size) in all.entries.iter_mut().zip(sizes) {
            entry.largest = size;
        }
        all.keys.sort_unstable();
        all.keys.dedup_by_key(|(key, entry, _)| (*key, *entry));
        all.keys.shrink_to_fit();
        Ok(all)
    }

    fn add<'a>(
        &mut self,
        name: &str,
        code: &str,
        at: Option<(i16, i16)>,
        people: u32,
        others: impl Iterator<Item = &'a str>,
    ) {
        let entry = u32::try_from(self.entries.len()).unwrap_or(u32::MAX);
        let start = u32::try_from(self.names.len()).unwrap_or(u32::MAX);
        self.names.push_str(name);
        let length = u16::try_from(name.len()).unwrap_or(u16::MAX);
        self.entries.push(Entry { name: (start, length), code: code.into(), at, people, largest: 0 });
        // An own name sorts before the same name as another one: `dedup` keeps the first.
        self.keys.push((hash(&folded(name)), entry, false));
        let others = others.map(folded).filter(|n| !n.is_empty());
        self.keys.extend(others.map(|n| (hash(&n), entry, true)));
    }

    /// Returns the entries that bear a folded name, and for each whether it is another name.
    fn named(&self, key: u64) -> impl Iterator<Item = (&Entry, bool)> {
        let from = self.keys.partition_point(|(k, ..)| *k < key);
        let rows = self.keys.get(from..).unwrap_or_default().iter().take_while(move |(k, ..)| *k == key);
        rows.filter_map(|(_, entry, other)| Some((self.entries.get(usize::try_from(*entry).ok()?)?, *other)))
    }

    fn name(&self, entry: &Entry) -> &str {
        let from = usize::try_from(entry.name.0).unwrap_or(usize::MAX);
        self.names.get(from..from.saturating_add(usize::from(entry.name.1))).unwrap_or_default()
    }

    /// Returns the name of a country or subdivision; its code if it has none here.
    fn name_of(&self, code: &str) -> String {
        let own = hash(&folded(code));
        self.named(own)
            .find(|(entry, _)| entry.people == 0 && *entry.code == *code)
            .map(|(entry, _)| self.name(entry).to_string())
            .or_else(|| {
                let (_, names) = self.countries.iter().find(|(c, _)| c == code)?;
                let key = names.get(2)?;
                self.named(*key).find(|(e, _)| *e.code == *code).map(|(e, _)| self.name(e).to_string())
            })
            .unwrap_or_else(|| code.to_string())
    }

    /// Returns whether words name the country or the subdivision of a code, or both in this order.
    fn qualifies(&self, code: &str, words: &[&str]) -> bool {
        let country = code.split('-').next().unwrap_or(code);
        let is_country = |words: &[&str]| {
            let key = hash(&folded(&words.concat()));
            self.countries.iter().any(|(c, names)| c == country && names.contains(&key))
        };
        let is_area = |words: &[&str]| {
            code != country
                && self.named(hash(&folded(&words.concat()))).any(|(e, _)| *e.code == *code && e.people == 0)
        };
        is_country(words)
            || is_area(words)
            || (1..words.len()).any(|at| {
                let (first, second) = words.split_at(at);
                is_area(first) && is_country(second)
            })
    }

    /// Returns the name of a country by its code of two letters.
    pub fn country_name(&self, code: &str) -> Option<String> {
        let entry = self.entries.iter().find(|entry| *entry.code == *code && entry.people == 0)?;
        self.found(entry).map(|found| found.name)
    }

    /// Finds places. `prefer` is the code of a country that comes first; may be empty.
    pub fn find(&self, text: &str, prefer: &str) -> Answer {
        let split = |c: char| c.is_whitespace() || matches!(c, ',' | ';' | '(' | ')');
        let words: Vec<&str> =
            text.split(split).filter(|w| !w.is_empty()).take(limits::PLACE_WORDS_MAX).collect();
        for take in (1..=words.len()).rev() {
            let (head, rest) = words.split_at(take);
            let folded_head = folded(&head.concat());
            if folded_head.is_empty() {
                continue;
            }
            let mut hits: Vec<(&Entry, bool)> = self
                .named(hash(&folded_head))
                .filter(|(entry, _)| rest.is_empty() || self.qualifies(&entry.code, rest))
                .collect();
            if hits.is_empty() {
                continue;
            }
            let prefer = prefer.split('-').next().unwrap_or_default().to_ascii_uppercase();
            let at_home =
                |entry: &Entry| !prefer.is_empty() && entry.code.split('-').next() == Some(&*prefer);
            // A subdivision's code of a few letters counts as its own name: no one types "Queensland" for QLD.
            let other = |entry: &Entry, other: bool| other && !(entry.people == 0 && folded_head.len() <= 3);
            hits.sort_by_key(|(entry, o)| {
                (other(entry, *o), !at_home(entry), std::cmp::Reverse(entry.weight()), entry.code.clone())
            });
            let clear = self.is_clear(&hits, &at_home, !rest.is_empty());
            let places =
                hits.iter().filter_map(|(entry, _)| self.found(entry)).take(limits::PLACES_FOUND_MAX);
            return Answer { places: places.collect(), clear };
        }
        Answer::default()
    }

    /// Returns whether the first hit is meant.
    fn is_clear(&self, hits: &[(&Entry, bool)], at_home: &dyn Fn(&Entry) -> bool, qualified: bool) -> bool {
        let Some(((first, own), others)) = hits.split_first() else { return false };
        let one_place = |other: &Entry| {
            // A town and the subdivision that is named after it, or two quarters of one town.
            other.code.starts_with(&*first.code) || first.code.starts_with(&*other.code)
        };
        others.iter().filter(|(_, o)| o == own || *own).all(|(other, _)| {
            let larger = first.weight() >= MUCH_LARGER * other.weight();
            let home = at_home(first) && !at_home(other);
            let same = one_place(other) && (first.people == 0 || other.people == 0);
            larger || home || same || (qualified && one_place(other) && first.weight() > other.weight())
        })
    }

    fn found(&self, entry: &Entry) -> Option<Found> {
        let country = entry.code.split('-').next().unwrap_or_default();
        let area = AreaCode::parse(&entry.code).or_else(|_| AreaCode::parse(country)).ok()?;
        let name = self.name(entry).to_string();
        let mut parts = vec![name.clone()];
        if entry.code.contains('-') && entry.people > 0 {
            parts.push(self.name_of(&entry.code));
        }
        if *entry.code != *country || entry.people > 0 {
            parts.push(self.name_of(country));
        }
        parts.dedup();
        let grid = entry.at.and_then(|(north, east)| {
            GridCode::around(f64::from(north) / 100.0, f64::from(east) / 100.0).ok()
        });
        Some(Found {
            name,
            full_name: parts.join(", "),
            area,
            grid,
            people: u64::from(entry.people) * PEOPLE,
        })
    }
}

/// Splits a row into exactly `N` columns.
fn columns<const N: usize>(row: &str) -> Option<[&str; N]> {
    row.split('\t').collect::<Vec<_>>().try_into().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn few() -> Gazetteer {
        let towns = "Brisbane\tAU\tQLD\t-2747\t15303\t27801\tBrizbejn\nPerth\tAU\tWA\t-3195\t11586\t23000\t\n\
            Perth\tGB\tSCT\t5640\t-343\t470\t\nPerth\tCA\tON\t4490\t-7625\t60\t\n\
            Springfield\tUS\tIL\t3980\t-8964\t1140\t\nSpringfield\tUS\tMA\t4210\t-7259\t1530\t\n\
            Athens\tGR\tI\t3798\t2373\t6640\tAthina\nAthens\tUS\tGA\t3396\t-8338\t1160\t\n\
            S\u{e3}o Paulo\tBR\tSP\t-2355\t-4664\t104000\t\nDarwin\tAU\tNT\t-1246\t13084\t1290\t\n";
        let areas = "AU-QLD\tQueensland\t-2747\t15303\t\nAU-WA\tWestern Australia\t-3195\t11586\t\n\
            AU-NT\tNorthern Territory\t-1246\t13084\t\nCA-NT\tNorthwest Territories\t6245\t-11437\t\n\
            GB-SCT\tScotland\t5586\t-425\t\nUS-GA\tGeorgia\t3375\t-8439\t\nUS-WA\tWashington\t4760\t-12233\t\n\
            BR-SP\tS\u{e3}o Paulo\t-2355\t-4664\t\n";
        let countries = "AU\tAUS\tAustralia\t\nGB\tGBR\tUnited Kingdom\tUK\nUS\tUSA\tUnited States\tAmerica\n\
            GR\tGRC\tGreece\t\nGE\tGEO\tGeorgia\t\nCA\tCAN\tCanada\t\nBR\tBRA\tBrazil\t\n";
        Gazetteer::read(towns, areas, countries).unwrap()
    }

    /// Returns the area of the first place, and whether it is clear.
    fn first(text: &str, prefer: &str) -> (String, bool) {
        let answer = few().find(text, prefer);
        (answer.places.first().map(|p| p.area.as_str().to_string()).unwrap_or_default(), answer.clear)
    }

    #[test]
    fn towns_states_and_countries_are_found_as_people_write_them() {
        for (text, prefer, area, clear) in [
            ("Brisbane", "", "AU-QLD", true),
            ("brisbane, qld", "", "AU-QLD", true),
            ("Brisbane Queensland Australia", "", "AU-QLD", true),
            ("QLD", "", "AU-QLD", true),
            ("Queensland", "", "AU-QLD", true),
            ("Perth", "", "AU-WA", true),
            ("Perth Scotland", "", "GB-SCT", true),
            ("Perth UK", "", "GB-SCT", true),
            ("Perth", "CA", "CA-ON", true),
            ("Athens GA", "", "US-GA", true),
            ("Athina", "", "GR-I", true),
            ("sao paulo", "", "BR-SP", true),
            ("Darwin NT", "", "AU-NT", true),
            // Two towns of about one size, two states of one code, a state and a country of one name: ask.
            ("Springfield", "", "US-MA", false),
            ("NT", "", "AU-NT", false),
            ("NT", "CA", "CA-NT", true),
            ("Georgia", "", "GE", false),
            ("WA", "AU", "AU-WA", true),
        ] {
            assert_eq!(first(text, prefer), (area.to_string(), clear), "{text} {prefer}");
        }
        for nothing in ["", " , ", "Atlantis", "Brisbane Scotland", "\u{1f96d}"] {
            assert_eq!(first(nothing, ""), (String::new(), false), "{nothing}");
        }
    }

    #[test]
    fn a_place_is_named_in_full_and_lies_where_it_is() {
        let brisbane = few().find("brisbane", "").places.remove(0);
        assert_eq!(brisbane.full_name, "Brisbane, Queensland, Australia");
        assert_eq!(brisbane.people, 2_780_100);
        let (north, east) = brisbane.grid.unwrap().middle();
        assert!((north + 27.47).abs() < 0.06 && (east - 153.03).abs() < 0.06, "{north} {east}");
        let state = few().find("queensland", "").places.remove(0);
        assert_eq!((state.full_name.as_str(), state.people), ("Queensland, Australia", 0));
        assert!(few().find("Australia", "").places[0].grid.is_none());
    }

    #[test]
    fn a_row_that_cannot_be_read_is_named() {
        let error = Gazetteer::read("Perth\tAU\tWA\tx\t1\t1\t\n", "", "").unwrap_err();
        assert_eq!(error, GazetteerError { table: "towns", line: 1 });
    }
}
