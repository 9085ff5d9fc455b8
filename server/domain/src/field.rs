//! What is wrong with a field of a request. Validation collects all of them, so that a person
//! corrects a form once.

use std::fmt;

/// One wrong field: its path as the wire names it, and what was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldError {
    /// Such as `offer.quantity` or `health.tests[0].laboratory`.
    pub field: String,
    /// What was expected, and what was found where that helps.
    pub expected: String,
}

impl FieldError {
    /// A wrong field.
    pub fn new(field: impl Into<String>, expected: impl Into<String>) -> Self {
        Self { field: field.into(), expected: expected.into() }
    }
}

impl fmt::Display for FieldError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.field, self.expected)
    }
}

/// Collects what is wrong while the good values are taken along.
#[derive(Debug, Default)]
pub struct Fields {
    errors: Vec<FieldError>,
}

impl Fields {
    /// Nothing wrong yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Notes a wrong field.
    pub fn wrong(&mut self, field: impl Into<String>, expected: impl Into<String>) {
        self.errors.push(FieldError::new(field, expected));
    }

    /// Takes the value, or notes what was expected.
    pub fn take<T, E: fmt::Display>(&mut self, field: &str, value: Result<T, E>) -> Option<T> {
        value.map_err(|e| self.wrong(field, e.to_string())).ok()
    }

    /// A text of `min` to `max` characters after trimming, without control characters.
    pub fn text(&mut self, field: &str, text: &str, min: usize, max: usize) -> Option<String> {
        let trimmed = text.trim();
        let length = trimmed.chars().count();
        if length < min || length > max {
            let wanted = if min == 0 {
                format!("at most {max} characters")
            } else {
                format!("{min} to {max} characters")
            };
            self.wrong(field, format!("{wanted} expected, {length} found"));
            return None;
        }
        // marks that turn the direction of writing can make a text look like another
        let turns = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        if trimmed.chars().any(|c| (c.is_control() && c != '\n' && c != '\t') || turns(c)) {
            self.wrong(field, "plain text expected, a control character found");
            return None;
        }
        Some(trimmed.to_string())
    }

    /// A text of one line.
    pub fn line(&mut self, field: &str, text: &str, min: usize, max: usize) -> Option<String> {
        if text.trim().contains(['\n', '\t']) {
            self.wrong(field, "one line without tabs expected");
            return None;
        }
        self.text(field, text, min, max)
    }

    /// The finished value, or everything that is wrong.
    ///
    /// # Errors
    /// All wrong fields; never an empty list.
    pub fn finish<T>(mut self, value: Option<T>) -> Result<T, Vec<FieldError>> {
        match value {
            Some(value) if self.errors.is_empty() => Ok(value),
            Some(_) => Err(self.errors),
            None => {
                if self.errors.is_empty() {
                    self.wrong("request", "a part of it is missing");
                }
                Err(self.errors)
            }
        }
    }
}
