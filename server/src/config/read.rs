//! Reading settings from their three places.

use std::{collections::BTreeMap, fmt, fs, path::PathBuf, str::FromStr};

use toml_edit::{Document, Item, Value};

use super::{
    Config,
    table::{Kind, SETTINGS, Setting},
};

/// Where settings come from.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    /// The file; none to go without.
    pub file: Option<PathBuf>,
    /// Variables of the environment.
    pub environment: Vec<(String, String)>,
    /// `section.name=value` of the command line.
    pub set: Vec<String>,
}

/// Everything that is wrong with the settings.
#[derive(Debug, thiserror::Error)]
pub struct ConfigError {
    /// One line each, with the place.
    pub mistakes: Vec<String>,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the settings have mistakes:")?;
        for mistake in &self.mistakes {
            write!(f, "\n  {mistake}")?;
        }
        Ok(())
    }
}

/// Values as text with the place that they come from.
pub(super) struct Values {
    found: BTreeMap<&'static str, (String, String)>,
    mistakes: Vec<String>,
}

fn setting(key: &str) -> Option<&'static Setting> {
    SETTINGS.iter().find(|s| s.key == key)
}

/// The setting whose name is nearest to one that does not exist.
fn nearest(key: &str) -> String {
    use scionary_domain::names::distance::similarity;
    let best = SETTINGS.iter().max_by(|a, b| similarity(a.key, key).total_cmp(&similarity(b.key, key)));
    best.filter(|s| similarity(s.key, key) > 0.5)
        .map(|s| format!("; did you mean {}?", s.key))
        .unwrap_or_default()
}

impl Values {
    fn put(&mut self, key: &str, text: String, place: String) {
        let Some(setting) = setting(key) else {
            self.mistakes.push(format!("{place}: there is no setting {key}{}", nearest(key)));
            return;
        };
        let fits = match setting.kind {
            Kind::Text => true,
            Kind::Number(min, max) => text.parse::<i64>().is_ok_and(|n| (min..=max).contains(&n)),
            Kind::Flag => text == "true" || text == "false",
            Kind::Choice(words) => words.contains(&text.as_str()),
        };
        if fits {
            self.found.insert(setting.key, (text, place));
        } else {
            self.mistakes.push(format!("{place}: {key}: {} expected, {text:?} found", setting.expected()));
        }
    }

    pub(super) fn wrong(&mut self, key: &str, expected: &str) {
        let place = self.found.get(key).map_or_else(|| "default".to_string(), |(_, place)| place.clone());
        self.mistakes.push(format!("{place}: {key}: {expected}"));
    }

    pub(super) fn text(&self, key: &str) -> String {
        let default = || setting(key).map(|s| s.default.to_string()).unwrap_or_default();
        self.found.get(key).map_or_else(default, |(text, _)| text.clone())
    }
    pub(super) fn flag(&self, key: &str) -> bool {
        self.text(key) == "true"
    }
    /// Reads a number. A key that is no setting is reported as a mistake, never taken as zero.
    pub(super) fn number<T: FromStr>(&mut self, key: &str) -> Option<T> {
        self.parsed(key, "a number")
    }
    pub(super) fn parsed<T: FromStr>(&mut self, key: &str, expected: &str) -> Option<T> {
        let text = self.text(key);
        let parsed = text.parse().ok();
        if parsed.is_none() {
            self.wrong(key, &format!("{expected} expected, {text:?} found"));
        }
        parsed
    }
}

fn line_of(text: &str, at: usize) -> usize {
    text.bytes().take(at).filter(|b| *b == b'\n').count() + 1
}

fn read_file(values: &mut Values, file: &PathBuf) {
    let shown = file.display();
    let text = match fs::read_to_string(file) {
        Ok(text) => text,
        Err(error) => {
            values.mistakes.push(format!("{shown}: {error}"));
            return;
        }
    };
    let document = match Document::parse(text.as_str()) {
        Ok(document) => document,
        Err(error) => {
            let line = error.span().map_or(0, |span| line_of(&text, span.start));
            values.mistakes.push(format!("{shown} line {line}: {}", error.message()));
            return;
        }
    };
    for (section, item) in document.iter() {
        let Some(table) = item.as_table_like() else {
            let line = item.span().map_or(0, |span| line_of(&text, span.start));
            values
                .mistakes
                .push(format!("{shown} line {line}: {section}: settings stand in sections such as [listen]"));
            continue;
        };
        for (name, item) in table.iter() {
            let line = item.span().map_or(0, |span| line_of(&text, span.start));
            #[expect(
                clippy::wildcard_enum_match_arm,
                reason = "what is no plain value is shown as it is written"
            )]
            let value = match item {
                Item::Value(Value::String(text)) => text.value().clone(),
                Item::Value(Value::Integer(number)) => number.value().to_string(),
                Item::Value(Value::Boolean(flag)) => flag.value().to_string(),
                other => other.to_string().trim().to_string(),
            };
            values.put(&format!("{section}.{name}"), value, format!("{shown} line {line}"));
        }
    }
}

/// Reads and checks all settings.
///
/// # Errors
/// Everything that is wrong, each with its place.
pub fn load(sources: &Sources) -> Result<Config, ConfigError> {
    let mut values = Values { found: BTreeMap::new(), mistakes: Vec::new() };
    if let Some(file) = &sources.file {
        read_file(&mut values, file);
    }
    for (variable, text) in &sources.environment {
        if variable.starts_with("SCIONARYD_") && variable != "SCIONARYD_CONFIG" {
            match SETTINGS.iter().find(|s| s.variable() == *variable) {
                Some(setting) => values.put(setting.key, text.clone(), format!("environment {variable}")),
                None => values.mistakes.push(format!("environment {variable}: there is no such setting")),
            }
        }
    }
    for pair in &sources.set {
        match pair.split_once('=') {
            Some((key, text)) => values.put(key.trim(), text.trim().to_string(), "command line".into()),
            None => {
                values.mistakes.push(format!("command line: --set takes section.name=value, {pair:?} found"))
            }
        }
    }
    let config = Config::build(&mut values);
    match config {
        Some(config) if values.mistakes.is_empty() => Ok(config),
        Some(_) | None => Err(ConfigError { mistakes: values.mistakes }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with_file(text: &str) -> Result<Config, String> {
        let file = tempfile::NamedTempFile::new().unwrap();
        fs::write(file.path(), text).unwrap();
        let sources = Sources { file: Some(file.path().to_path_buf()), ..Sources::default() };
        load(&sources).map_err(|e| e.to_string().replace(&file.path().display().to_string(), "FILE"))
    }

    #[test]
    fn all_mistakes_at_once_with_their_lines() {
        let wrong = "[listen]\naddress = \"0.0.0.0:1\"\nadress = 3\n\n[limits]\ndeadline_seconds = 0\n[accounts]\nsign_up = \"maybe\"\n";
        let text = with_file(wrong).unwrap_err();
        for part in [
            "FILE line 3: there is no setting listen.adress; did you mean listen.address?",
            "FILE line 6: limits.deadline_seconds: a whole number from 1 to 600 expected, \"0\" found",
            "FILE line 8: accounts.sign_up: one of open, invitation, closed expected, \"maybe\" found",
            "FILE line 2: listen.address: a loopback address expected",
        ] {
            assert!(text.contains(part), "{part}\n{text}");
        }
        assert!(with_file("[listen\n").unwrap_err().contains("FILE line 1"));
    }

    #[test]
    fn the_command_line_wins_then_the_environment() {
        let sources = Sources {
            file: None,
            environment: vec![
                ("SCIONARYD_SERVER_NAME".into(), "environment".into()),
                ("SCIONARYD_LIMITS_DEADLINE_SECONDS".into(), "7".into()),
            ],
            set: vec!["server.name=line".into()],
        };
        let config = load(&sources).unwrap();
        assert_eq!((config.name.as_str(), config.deadline.as_secs()), ("line", 7));
        let typo = Sources { environment: vec![("SCIONARYD_LISTEN_ADRESS".into(), "x".into())], ..sources };
        assert!(load(&typo).is_err());
    }

    #[test]
    fn the_sample_is_the_defaults() {
        let from_sample = with_file(&super::super::sample()).unwrap();
        let defaults = load(&Sources::default()).unwrap();
        assert_eq!(format!("{from_sample:?}"), format!("{defaults:?}"));
    }
}
