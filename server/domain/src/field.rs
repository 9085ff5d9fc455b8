//! Mistakes in the fields of a request. Validation collects all of them, so a person corrects a form once.

use std::fmt;

/// One wrong field, with a message about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldError {
    /// Path of the field on the wire, such as `offer.quantity` or `health.tests[0].laboratory`.
    pub field: String,
    /// Message that says what belongs in the field, and what it holds where that helps.
    pub expected: String,
}

impl FieldError {
    /// Makes an error for a field.
    pub fn new(field: impl Into<String>, expected: impl Into<String>) -> Self {
        Self { field: field.into(), expected: expected.into() }
    }
}

impl fmt::Display for FieldError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.field, self.expected)
    }
}

/// Collects mistakes while validation keeps the good values.
#[derive(Debug, Default)]
pub struct Fields {
    errors: Vec<FieldError>,
}

impl Fields {
    /// Starts without mistakes.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a mistake in a field.
    pub fn wrong(&mut self, field: impl Into<String>, expected: impl Into<String>) {
        self.errors.push(FieldError::new(field, expected));
    }

    /// Returns the value of an `Ok`; adds the message of an `Err` as a mistake.
    pub fn take<T, E: fmt::Display>(&mut self, field: &str, value: Result<T, E>) -> Option<T> {
        value.map_err(|e| self.wrong(field, e.to_string())).ok()
    }

    /// Returns the trimmed text if it has `min` to `max` characters and no control characters, except line
    /// breaks and tabs.
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
        // Marks that reverse the direction of writing can make one text look like another.
        let turns = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
        if trimmed.chars().any(|c| (c.is_control() && c != '\n' && c != '\t') || turns(c)) {
            self.wrong(field, "plain text expected, a control character found");
            return None;
        }
        Some(trimmed.to_string())
    }

    /// Returns the trimmed text under the same rules, if it is a single line without tabs.
    pub fn line(&mut self, field: &str, text: &str, min: usize, max: usize) -> Option<String> {
        if text.trim().contains(['\n', '\t']) {
            self.wrong(field, "one line without tabs expected");
            return None;
        }
        self.text(field, text, min, max)
    }

    /// Returns the value, or every mistake.
    ///
    /// # Errors
    /// Returns every wrong field; the list is never empty.
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
