//! Runs a session with the real binaries.

use std::{
    collections::BTreeMap,
    fmt::Write as _,
    io::{BufRead as _, BufReader, Read as _, Write as _},
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::Duration,
};

use scionary_proto::v1;
use scionary_tests::{
    Database,
    binaries::{Server, folder},
    client::{PASSWORD, Raw},
    samples::in_days,
};

use crate::{
    plain::{Captured, find, plain},
    session::{Filter, Step, Typed, parse, words},
};

/// The longest wait for output that the server produces by itself.
const PATIENCE: Duration = Duration::from_secs(20);
/// How often the session looks during that wait.
const TRIES: u32 = 100;

/// Returns the folder of the shipped data.
fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../server/data").canonicalize().expect("the data that ships")
}

/// Returns a client command, as on a terminal of 80 columns, independent of the machine's own settings.
pub fn client(config: &Path) -> Command {
    let mut command = Command::new(folder().join("scionary"));
    command
        .env("SCIONARY_CONFIG_DIR", config)
        .env("COLUMNS", "80")
        .env("NO_COLOR", "1")
        .env("HOSTNAME", "shed");
    for other in ["SCIONARY_SERVER", "SCIONARY_TOKEN", "CLICOLOR", "CLICOLOR_FORCE"] {
        command.env_remove(other);
    }
    command
}

/// A server with the demo catalogue, people with their own folders, and the files that they write.
struct Stage {
    database: Database,
    server: Server,
    folder: tempfile::TempDir,
    now: String,
    input: String,
    captured: Captured,
    words: BTreeMap<String, String>,
}

impl Stage {
    fn open(settings: &[String]) -> Self {
        let database = Database::sqlite();
        let demo = format!("data.catalogue_folders={}", data().join("demo").display());
        let mut all = vec!["accounts.sign_up=open", "limits.passwords_per_minute=1000", &demo];
        all.extend(settings.iter().map(String::as_str));
        let server = Server::start(&database.url, &all);
        let captured = vec![
            ("server".into(), format!("http://{}", server.address)),
            ("data".into(), data().display().to_string()),
        ];
        Self {
            database,
            server,
            folder: tempfile::tempdir().expect("a folder"),
            now: "visitor".into(),
            input: String::new(),
            captured,
            words: BTreeMap::new(),
        }
    }
    fn files(&self) -> PathBuf {
        let files = self.folder.path().join("files");
        std::fs::create_dir_all(&files).expect("a folder");
        files
    }
    fn client(&self) -> Command {
        let mut command = client(&self.folder.path().join(&self.now));
        command.current_dir(self.files());
        command
    }
    /// Runs the client without recording it, with the password as input.
    fn silently(&self, arguments: &[&str]) -> String {
        let mut child = self
            .client()
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the client runs");
        // A client that does not read its input has closed the pipe.
        let _ = writeln!(child.stdin.take().expect("its input"), "{PASSWORD}");
        let output = child.wait_with_output().expect("it ends");
        assert!(output.status.success(), "scionary {arguments:?} failed");
        String::from_utf8(output.stdout).expect("text")
    }
    fn enter(&mut self, handle: &str, name: Option<&str>, steward: bool) {
        self.now = handle.into();
        if !self.folder.path().join(handle).exists() {
            self.silently(&["connect", &format!("http://{}", self.server.address)]);
        }
        let Some(name) = name else { return };
        let mut arguments = vec!["--json", "account", "sign-up", handle, "--name", name];
        let code;
        if steward {
            let made = Command::new(folder().join("scionaryd"))
                .args(["steward-code", "--database", &self.database.url])
                .output()
                .expect("the server's program runs");
            code = String::from_utf8(made.stdout).expect("text");
            arguments.extend(["--code", code.split_whitespace().last().expect("a code")]);
        }
        let made = self.silently(&arguments);
        self.silently(&["account", "sign-in", handle]);
        let id =
            find("\"account_id\": \"acc_*", &made).unwrap_or_else(|| panic!("no id of an account: {made}"));
        self.captured.push((handle.into(), id));
    }
    /// Returns the id behind the highest printed number that is one of the person's own and of the pattern's kind:
    /// `ofr_*` is the highest number of an offer, `claim show clm_*` the highest after these words.
    fn numbered(&self, pattern: &str, text: &str) -> Option<String> {
        let (before, _) = pattern.split_once('*')?;
        let (before, prefix) = before.split_at(before.len().checked_sub(4)?);
        if !prefix.ends_with('_') {
            return None;
        }
        let session =
            std::fs::read_to_string(self.folder.path().join(&self.now).join("session.toml")).ok()?;
        let token = find("token = \"*", &session)?;
        let digits = |text: &str| text.chars().take_while(char::is_ascii_digit).collect::<String>();
        let mut numbers: Vec<String> = if before.is_empty() {
            text.split(|c: char| !c.is_ascii_digit()).map(String::from).collect()
        } else {
            text.match_indices(before).map(|(at, _)| digits(&text[at + before.len()..])).collect()
        };
        // What was made last has the highest number.
        numbers.sort_by_key(|n| std::cmp::Reverse(n.parse::<u32>().unwrap_or(0)));
        let runtime = tokio::runtime::Runtime::new().expect("a runtime");
        runtime.block_on(async {
            let raw = Raw::at(&self.server.address.to_string()).await.with_token(&token);
            for number in numbers.into_iter().filter(|n| !n.is_empty() && n.len() < 6) {
                let request = v1::FindItemsRequest { kind: v1::ItemKind::Numbered.into(), text: number };
                let found: v1::FindItemsResponse = raw.call(&request).await.ok()?;
                let id = found.items.into_iter().map(|item| item.item_id).find(|id| id.starts_with(prefix));
                if id.is_some() {
                    return id;
                }
            }
            None
        })
    }
    /// Replaces the names in braces of a typed line by their values.
    fn filled(&self, line: &str) -> String {
        let mut out = String::new();
        let mut rest = line;
        while let Some((before, after)) = rest.split_once('{') {
            out.push_str(before);
            let (name, tail) =
                after.split_once('}').unwrap_or_else(|| panic!("a brace is left open: {line}"));
            rest = tail;
            let known = self.captured.iter().rev().find(|(n, _)| n == name).map(|(_, value)| value.clone());
            let value = match (name.strip_prefix("day"), self.words.get(name)) {
                (_, Some(words)) => self.filled(words),
                (Some(days), None) if days.starts_with(['+', '-']) => day(days.parse().expect("days")),
                _ => known.unwrap_or_else(|| panic!("{{{name}}} stands for nothing yet: {line}")),
            };
            out.push_str(&value);
        }
        out + rest
    }
    /// Runs a line and returns its output as it is recorded.
    fn run(&mut self, typed: &Typed) -> String {
        let all = words(&self.filled(&typed.line));
        let input = std::mem::take(&mut self.input);
        let (out, err, code) = match all[0].as_str() {
            "ls" => (self.listed(), String::new(), 0),
            "put" => {
                std::fs::create_dir_all(self.files().join(&all[1]).parent().expect("a folder"))
                    .expect("a folder");
                std::fs::write(self.files().join(&all[1]), input).expect("a file");
                (String::new(), String::new(), 0)
            }
            _ => {
                let awaited = typed.filters.iter().find_map(|f| match f {
                    Filter::Until(text) => Some(text.as_str()),
                    _ => None,
                });
                let mut tries = 0;
                loop {
                    let printed = self.scionary(typed, &all, &input);
                    tries += 1;
                    if tries == TRIES || awaited.is_none_or(|text| printed.0.contains(text)) {
                        break printed;
                    }
                    std::thread::sleep(PATIENCE / TRIES);
                }
            }
        };
        for (name, pattern) in &typed.captures {
            let pattern = self.filled(pattern);
            let value = find(&pattern, &out)
                .or_else(|| self.numbered(&pattern, &out))
                .unwrap_or_else(|| panic!("{pattern} is not in what {} printed:\n{out}{err}", typed.line));
            self.captured.retain(|(n, _)| n != name);
            self.captured.push((name.clone(), value));
        }
        let out = if typed.filters.contains(&Filter::Unfolded) { out.replace("\r\n ", "") } else { out };
        let out = plain(&out, &self.captured);
        let mut lines: Vec<&str> = out.trim_end().lines().collect();
        for filter in &typed.filters {
            match filter {
                Filter::Head(count) => lines.truncate(*count),
                Filter::Without(text) => lines.retain(|line| !line.contains(text)),
                Filter::Sorted => {
                    lines.sort_unstable();
                    lines.dedup();
                }
                Filter::Items(from) => lines = items_sorted(lines, from),
                Filter::Until(_) | Filter::Unfolded => {}
            }
        }
        let mut recorded = String::new();
        for line in lines {
            let _ = writeln!(recorded, "{}", format!("  {line}").trim_end());
        }
        for line in plain(&err, &self.captured).trim_end().lines() {
            let _ = writeln!(recorded, "{}", format!("! {line}").trim_end());
        }
        if code != 0 {
            let _ = writeln!(recorded, "= {code}");
        }
        recorded
    }
    fn scionary(&self, typed: &Typed, all: &[String], input: &str) -> (String, String, i32) {
        let mut command = self.client();
        let mut arguments = all;
        while let Some((first, rest)) = arguments.split_first()
            && first != "scionary"
        {
            let (name, value) = first.split_once('=').unwrap_or_else(|| panic!("no command: {}", typed.line));
            if name == "CLICOLOR_FORCE" {
                command.env_remove("NO_COLOR");
            }
            command.env(name, value);
            arguments = rest;
        }
        let mut child = command
            .args(&arguments[1..])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the client runs");
        // A client that does not read its input has closed the pipe.
        let _ = child.stdin.take().expect("its input").write_all(input.as_bytes());
        let head = typed.filters.iter().find_map(|f| match f {
            Filter::Head(count) => Some(*count),
            _ => None,
        });
        if let Some(count) = head {
            let lines = BufReader::new(child.stdout.take().expect("its output")).lines();
            let (send, receive) = std::sync::mpsc::channel();
            let reader = std::thread::spawn(move || {
                for line in lines.take(count) {
                    let _ = send.send(line.expect("text"));
                }
            });
            let out: Vec<String> = std::iter::from_fn(|| receive.recv_timeout(PATIENCE).ok()).collect();
            let _ = child.kill();
            reader.join().expect("the output is read");
            let mut err = String::new();
            let _ = child.stderr.take().expect("its errors").read_to_string(&mut err);
            let _ = child.wait();
            return (out.join("\n"), err, 0);
        }
        let output = child.wait_with_output().expect("it ends");
        let text = |bytes| String::from_utf8(bytes).expect("text");
        (text(output.stdout), text(output.stderr), output.status.code().unwrap_or(-1))
    }
    /// Returns the names of the written files, and marks empty ones.
    fn listed(&self) -> String {
        let mut all: Vec<String> = std::fs::read_dir(self.files())
            .expect("a folder")
            .map(|entry| {
                let entry = entry.expect("a file");
                let empty = entry.metadata().is_ok_and(|m| m.is_file() && m.len() == 0);
                let name = entry.file_name().to_string_lossy().into_owned();
                if empty { format!("{name} (empty)") } else { name }
            })
            .collect();
        all.sort();
        all.join("\n")
    }
}

/// Sorts the items of a list alphabetically, and keeps all other lines in place.
fn items_sorted<'a>(lines: Vec<&'a str>, from: &str) -> Vec<&'a str> {
    let first = lines.iter().position(|line| line.contains(from)).unwrap_or(lines.len());
    let last = match from {
        "" => lines.len(),
        _ => lines[first..].iter().position(|line| line.is_empty()).map_or(lines.len(), |end| first + end),
    };
    let mut out = lines[..first].to_vec();
    let mut items: Vec<Vec<&str>> = Vec::new();
    // An item begins with a dash, or with its number.
    let begins = |line: &str| {
        let rest = line.trim_start();
        let digits = rest.chars().take_while(char::is_ascii_digit).count();
        rest.starts_with("- ") || (digits > 0 && rest[digits..].starts_with("  "))
    };
    let by_text = |item: &Vec<&str>| {
        item[0].trim_start_matches([' ', '-']).trim_start_matches(char::is_numeric).to_string()
    };
    for line in &lines[first..last] {
        match items.last_mut() {
            Some(item) if line.starts_with("  ") && !begins(line) => item.push(line),
            _ if begins(line) => items.push(vec![line]),
            _ => {
                items.sort_by_key(by_text);
                out.extend(items.drain(..).flatten());
                out.push(line);
            }
        }
    }
    items.sort_by_key(by_text);
    out.extend(items.into_iter().flatten());
    out.extend(&lines[last..]);
    out
}

fn day(days: i64) -> String {
    let day = in_days(days);
    format!("{:04}-{:02}-{:02}", day.year, day.month, day.day)
}

/// Runs a session and returns its file with the current output.
pub fn played(text: &str) -> String {
    let steps = parse(text);
    let settings: Vec<String> = steps
        .iter()
        .filter_map(|step| match step {
            Step::Setting(setting) => Some(setting.clone()),
            _ => None,
        })
        .collect();
    let mut stage = Stage::open(&settings);
    let mut out = String::new();
    // An empty line after each command, and none elsewhere.
    let mut gap = false;
    for step in steps {
        if std::mem::take(&mut gap) {
            out.push('\n');
        }
        match step {
            Step::Comment(text) => drop(writeln!(out, "{}", format!("# {text}").trim_end())),
            Step::Setting(setting) => drop(writeln!(out, "% {setting}")),
            Step::Words(name, words) => {
                let _ = writeln!(out, ": {name} = {words}");
                stage.words.insert(name, words);
            }
            Step::Persona { handle, name, steward } => {
                let _ = match &name {
                    Some(name) => {
                        writeln!(out, "@{handle} {name}{}", if steward { ", steward" } else { "" })
                    }
                    None => writeln!(out, "@{handle}"),
                };
                stage.enter(&handle, name.as_deref(), steward);
            }
            Step::Input(line) => {
                let _ = writeln!(out, "{}", format!("< {line}").trim_end());
                stage.input.push_str(&stage.filled(&line));
                stage.input.push('\n');
            }
            Step::Command(typed) => {
                let _ = writeln!(out, "{}", typed.shown);
                for (name, pattern) in &typed.captures {
                    let _ = writeln!(out, "> {name} = {pattern}");
                }
                out.push_str(&stage.run(&typed));
                gap = true;
            }
        }
    }
    assert!(stage.server.terminate(), "the server ends well");
    out
}
