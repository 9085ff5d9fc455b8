//! Asking the registry.

use scionary_domain::{
    crop::Crop,
    cultivar::Cultivar,
    field::{FieldError, Fields},
    ids::CultivarId,
    limits,
    names::{
        Hit, Reason,
        score::{GUESS, GUESS_LEAD},
    },
    page::{self, Page},
    seed::{self, Answer},
};

use super::{Record, Registry};
use crate::error::Error;

/// Candidates shown beside an answer.
const OTHERS: usize = 5;

/// A record found by a name.
pub struct Found<'a> {
    /// The record.
    pub record: &'a Record,
    /// How.
    pub hit: Hit<CultivarId>,
}

/// The answer to a look-up.
pub struct Looked<'a> {
    /// The record that the name stands for, and the report on its seed.
    pub answer: Option<(Found<'a>, seed::Report)>,
    /// Namesakes, or the nearest names.
    pub others: Vec<Found<'a>>,
    /// The name was not exact.
    pub guessed: bool,
}

impl Registry {
    /// Checks a crop's key; empty stands for all crops.
    ///
    /// # Errors
    /// What was expected.
    pub fn check_crop(&self, crop: &str) -> Result<(), FieldError> {
        if crop.is_empty() || self.crop(crop).is_some() {
            Ok(())
        } else {
            Err(FieldError::new("crop", self.crop_expected(crop)))
        }
    }

    /// Records by a name as it was heard or typed, best first.
    pub fn find(&self, name: &str, crop: &str, limit: usize) -> Vec<Found<'_>> {
        let hits = self.find_in(name, crop, limit);
        // "fig" is no misspelt cultivar
        if hits.first().is_none_or(|found| !found.hit.is_exact()) && self.crop_called(name).is_some() {
            return Vec::new();
        }
        // "hass avocado", "kent mango": the crop's name typed along says of which crop, if nothing is called so itself
        if hits.first().is_none_or(|found| !found.hit.is_exact())
            && let Some((rest, named)) = self.crop_in(name, crop)
        {
            let within = self.find_in(&rest, &named, limit);
            let best = |hits: &[Found<'_>]| hits.first().map_or(0.0, |found| found.hit.score);
            if best(&within) > best(&hits) {
                return within;
            }
        }
        hits
    }

    fn find_in(&self, name: &str, crop: &str, limit: usize) -> Vec<Found<'_>> {
        let wanted = |id: CultivarId| {
            crop.is_empty() || self.record(id).is_some_and(|record| record.cultivar.crop == crop)
        };
        let mut found: Vec<Found<'_>> = self
            .names
            .find(name, limit, wanted)
            .into_iter()
            .filter_map(|hit| Some(Found { record: self.record(hit.target)?, hit }))
            .collect();
        // of namesakes the one without a qualifier comes first: it is what the plain name means
        let namesakes = found.iter().take_while(|f| f.hit.reason == Reason::Exact).count();
        if let Some(first) = found.get_mut(..namesakes) {
            first.sort_by_key(|f| !f.record.cultivar.qualifier.is_empty());
        }
        found
    }

    /// The crop that is called so, by its key or its name, one or several of it.
    pub fn crop_called(&self, name: &str) -> Option<&Crop> {
        let name = name.trim().to_lowercase().replace(['_', '-'], " ");
        let called = |own: &str| {
            let own = own.to_lowercase().replace('_', " ");
            own == name || format!("{own}s") == name || format!("{own}es") == name
        };
        self.crops.values().find(|crop| called(&crop.slug) || called(&crop.name))
    }

    /// A typed name without the name of a crop in it, and that crop.
    fn crop_in(&self, name: &str, crop: &str) -> Option<(String, String)> {
        let words: Vec<String> = name.split_whitespace().map(str::to_lowercase).collect();
        if words.len() < 2 {
            return None;
        }
        let called = |slug: &str, word: &str| slug == word || format!("{slug}s") == word;
        let (at, slug) = words.iter().enumerate().find_map(|(at, word)| {
            let slug = self.crops.keys().find(|slug| called(slug, word))?;
            Some((at, slug.clone()))
        })?;
        if !crop.is_empty() && crop != slug {
            return None;
        }
        let rest: Vec<&str> =
            words.iter().enumerate().filter(|(n, _)| *n != at).map(|(_, word)| word.as_str()).collect();
        Some((rest.join(" "), slug))
    }

    /// Searches by name.
    ///
    /// # Errors
    /// All wrong fields.
    pub fn search(&self, name: &str, crop: &str, limit: i32) -> Result<Vec<Found<'_>>, Error> {
        let mut fields = Fields::new();
        let name = fields.text("query", name, 1, limits::NAME_CHARS_MAX);
        fields.take("crop", self.check_crop(crop).map_err(|e| e.expected));
        let limit = match usize::try_from(limit) {
            Ok(0) => Some(10),
            Ok(n) if n <= limits::MATCHES_MAX => Some(n),
            Ok(_) | Err(_) => {
                fields.wrong("page_size", format!("0 to {} expected, {limit} found", limits::MATCHES_MAX));
                None
            }
        };
        let (name, limit) = fields.finish(name.zip(limit))?;
        Ok(self.find(&name, crop, limit))
    }

    /// The grower's question. Only an exact name is taken silently; a near one only with a clear lead, and
    /// then it is said.
    ///
    /// # Errors
    /// All wrong fields.
    pub fn look_up(&self, name: &str, crop: &str) -> Result<Looked<'_>, Error> {
        let mut fields = Fields::new();
        let name = fields.text("name", name, 1, limits::NAME_CHARS_MAX);
        fields.take("crop", self.check_crop(crop).map_err(|e| e.expected));
        let name = fields.finish(name)?;
        let mut hits = self.find(&name, crop, OTHERS + 1);
        let exact = hits.first().is_some_and(|f| f.hit.is_exact());
        let clear = !must_ask(&hits)
            && match hits.as_slice() {
                [] => false,
                _ if exact => true,
                [only] => only.hit.score >= GUESS,
                [first, second, ..] => {
                    first.hit.score >= GUESS && first.hit.score - second.hit.score >= GUESS_LEAD
                }
            };
        if exact && clear {
            hits.retain(|f| f.hit.is_exact());
        }
        if !clear {
            hits.truncate(OTHERS);
            return Ok(Looked { answer: None, others: hits, guessed: true });
        }
        let first = hits.remove(0);
        let report = self.report(first.record);
        Ok(Looked { answer: report.map(|r| (first, r)), others: hits, guessed: !exact })
    }

    /// The report on a record's seed.
    pub fn report(&self, record: &Record) -> Option<seed::Report> {
        let crop = self.crop(&record.cultivar.crop)?;
        Some(seed::report(crop, &record.cultivar, &record.findings, &self.trueness(record)))
    }

    /// The record and the crop that a question is about: of a cultivar's id or exact name, of a crop alone, or none.
    ///
    /// # Errors
    /// As [`Registry::resolve`].
    pub fn asked_about(&self, cultivar: &str, crop: &str) -> Result<(Option<&Record>, Option<&Crop>), Error> {
        if cultivar.trim().is_empty() {
            self.check_crop(crop)?;
            return Ok((None, self.crop(crop)));
        }
        let record = self.resolve("cultivar", cultivar, crop)?;
        Ok((Some(record), self.crop(&record.cultivar.crop)))
    }

    /// The record of an id or an exact name.
    ///
    /// # Errors
    /// [`Error::NotFound`] with the nearest names; [`Error::Invalid`] when several records bear the name.
    pub fn resolve(&self, field: &str, text: &str, crop: &str) -> Result<&Record, Error> {
        self.check_crop(crop)
            .map_err(|e| Error::from(FieldError::new(sibling(field, "crop"), e.expected)))?;
        let text = text.trim();
        if text.is_empty() || text.chars().count() > limits::NAME_CHARS_MAX {
            return Err(FieldError::new(
                field,
                format!(
                    "a cultivar's id, or its name of at most {} characters, expected",
                    limits::NAME_CHARS_MAX
                ),
            )
            .into());
        }
        if text.starts_with("cul_") {
            let id: CultivarId = crate::App::id_in(field, text)?;
            return self.record(id).ok_or_else(|| Error::not_found("cultivar", id));
        }
        let hits = self.find(text, crop, OTHERS);
        let exact: Vec<&Found<'_>> = hits.iter().filter(|f| f.hit.is_exact()).collect();
        let accepted: Vec<&Record> = exact.iter().filter(|f| f.hit.accepted).map(|f| f.record).collect();
        // a name without a qualifier is that of the record without one; its namesakes are called with theirs
        let plain: Vec<&Record> =
            accepted.iter().copied().filter(|r| r.cultivar.qualifier.is_empty()).collect();
        if let ([one], true) = (plain.as_slice(), accepted.len() > 1) {
            return Ok(one);
        }
        match (accepted.as_slice(), exact.as_slice()) {
            ([one], _) => Ok(one),
            ([], [one]) => Ok(one.record),
            ([], []) => {
                let near: Vec<String> = hits.iter().map(|f| described(&f.record.cultivar)).collect();
                let hint = if let Some(crop) = self.crop_called(text) {
                    format!(
                        "{} is a crop: name one of its cultivars ({} on file)",
                        crop.name.to_lowercase(),
                        self.count_of(&crop.slug)
                    )
                } else if near.is_empty() {
                    "nothing on file is near it; look it up under another spelling".to_string()
                } else {
                    format!("did you mean {}?", near.join(", "))
                };
                Err(Error::NotFound { kind: "cultivar", id: text.chars().take(60).collect(), hint })
            }
            (_, several) => {
                let choices: Vec<String> = several
                    .iter()
                    .map(|f| format!("{} ({})", described(&f.record.cultivar), f.record.cultivar.id))
                    .collect();
                Err(FieldError::new(
                    field,
                    format!(
                        "several cultivars bear this name; name the crop or give an id: {}",
                        choices.join("; ")
                    ),
                )
                .into())
            }
        }
    }

    /// A page of records by name.
    ///
    /// # Errors
    /// Wrong fields; a page token that does not fit.
    pub fn list(
        &self,
        crop: &str,
        answer: Option<Answer>,
        page_size: i32,
        token: &str,
    ) -> Result<Page<&Record>, Error> {
        self.check_crop(crop)?;
        let asked = page::Asked::<String>::read(page_size, token, format!("cultivars {crop} {answer:?}"))?;
        let from = match &asked.after {
            None => 0,
            Some(last) => self.in_order.partition_point(|(key, _)| key <= last),
        };
        let rows: Vec<(&String, &Record)> = self
            .in_order
            .iter()
            .skip(from)
            .filter_map(|(key, id)| Some((key, self.record(*id)?)))
            .filter(|(_, r)| crop.is_empty() || r.cultivar.crop == crop)
            .filter(|(_, r)| answer.is_none_or(|a| self.seed_of(r).0 == a))
            .take(asked.size + 1)
            .collect();
        Ok(asked.cut(rows, |(key, _)| (*key).clone()).map(|(_, record)| record))
    }

    /// Other records that bear this record's name, in any crop.
    pub fn namesakes(&self, record: &Record) -> Vec<&Record> {
        self.find(&record.cultivar.name, "", limits::MATCHES_MAX)
            .into_iter()
            .filter(|f| f.hit.is_exact() && f.record.cultivar.id != record.cultivar.id)
            .map(|f| f.record)
            .collect()
    }
}

/// An exact name that still may mean several things: cultivars of that accepted name in several crops, or a
/// disputed synonym beside another near name.
fn must_ask(hits: &[Found<'_>]) -> bool {
    let mut accepted =
        hits.iter().filter(|f| f.hit.is_exact() && f.hit.accepted).map(|f| &f.record.cultivar.crop);
    let first = accepted.next();
    let across_crops = accepted.any(|crop| Some(crop) != first);
    let disputed = match hits {
        [first, second, ..] => first.hit.is_exact() && first.hit.disputed && second.hit.score >= GUESS,
        [] | [_] => false,
    };
    across_crops || disputed
}

/// A record in a sentence: `Peach (mango)`.
pub(crate) fn described(cultivar: &Cultivar) -> String {
    format!("{} ({})", cultivar.full_name(), cultivar.crop)
}

/// The path of a field beside another: `offer.crop` beside `offer.cultivar`.
fn sibling(field: &str, name: &str) -> String {
    match field.rsplit_once('.') {
        Some((parent, _)) => format!("{parent}.{name}"),
        None => name.to_string(),
    }
}
