//! Removes from printed text what differs between runs and days.

/// The years whose days are volatile. They include today, and exclude the fixed days of the sessions.
const NOW: std::ops::RangeInclusive<u32> = 2026..=2039;

/// The fewest letters and digits in an id.
const ID_LEAST: usize = 20;

/// The beginning of the handle of a member whom an organiser entered, and the letters after it.
const HELPED: &str = "helped-";
const HELPED_LETTERS: usize = 12;

/// Captured values with their names.
pub type Captured = Vec<(String, String)>;

/// Normalises a text: captured values become their names, and volatile values become placeholders.
pub fn plain(text: &str, captured: &Captured) -> String {
    let mut text = text.to_string();
    let mut longest_first: Vec<&(String, String)> = captured.iter().collect();
    longest_first.sort_by_key(|(_, value)| std::cmp::Reverse(value.len()));
    for (name, value) in longest_first {
        text = text.replace(value.as_str(), &format!("{{{name}}}"));
        // A scanned code of a lot has no spaces.
        if is_code(value) {
            text = text.replace(&value.replace(' ', ""), &format!("{{{name}}}"));
        }
    }
    let version = env!("CARGO_PKG_VERSION");
    text = text.replace(&format!("version {version}"), "version VERSION");
    text = text.replace(&format!("\"version\": \"{version}\""), "\"version\": \"VERSION\"");
    text = text.replace(&format!("scionary {version}"), "scionary VERSION");
    text = text.replace('\u{1b}', "␛");
    // The handle of a member who was entered is random; its place holder is as long, so that columns stay.
    let parts: Vec<&str> = text.split(HELPED).collect();
    let first = parts.first().copied().unwrap_or_default().to_string();
    let random = |part: &&str| part.len() >= HELPED_LETTERS && part.is_char_boundary(HELPED_LETTERS);
    text = parts.iter().skip(1).fold(first, |text, part| {
        let rest = if random(part) {
            format!("{}{}", "X".repeat(HELPED_LETTERS), &part[HELPED_LETTERS..])
        } else {
            (*part).into()
        };
        text + HELPED + &rest
    });
    let bytes = |line: &str| match line.split_once(" bytes are in ") {
        Some((count, file)) if count.bytes().all(|b| b.is_ascii_digit()) => format!("N bytes are in {file}"),
        _ => line.to_string(),
    };
    text = text.split('\n').map(bytes).collect::<Vec<_>>().join("\n");
    days_of_json(&codes(&words(&text)))
}

/// Returns the first text that matches a pattern with one `*`. The `*` stands for the text up to the rest of the
/// pattern, or up to the end of a word if there is no rest. The pattern `CODE` matches the code on a lot's tag.
pub fn find(pattern: &str, text: &str) -> Option<String> {
    if pattern == "CODE" {
        let all: Vec<char> = text.chars().collect();
        return (0..all.len()).find_map(|at| code_at(&all, at)).map(|(_, groups)| groups.join(" "));
    }
    let (before, after) = pattern.split_once('*').expect("a pattern with *");
    let keep = if before.ends_with('_') { before.rsplit([' ', '"']).next().unwrap_or("") } else { "" };
    text.match_indices(before).find_map(|(at, _)| {
        let rest = text[at + before.len()..].lines().next().unwrap_or_default();
        let end = match after {
            "" => rest.find([' ', '"', ',', ';', ')', ']', '.', ':']).unwrap_or(rest.len()),
            _ => rest.find(after).unwrap_or(0),
        };
        let fits = end > 0;
        fits.then(|| format!("{keep}{}", &rest[..end]))
    })
}

/// Replaces ids, instants, days and hashes, word by word.
fn words(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        if !first.is_ascii_alphanumeric() {
            out.push(first);
            rest = &rest[first.len_utf8()..];
            continue;
        }
        let end = rest.find(|c: char| !(c.is_ascii_alphanumeric() || c == '_')).unwrap_or(rest.len());
        let (word, after) = rest.split_at(end);
        if let Some(length) = invitation(rest) {
            out.push_str("INVITATION");
            rest = &rest[length..];
        } else if clock(rest) {
            out.push_str("TIME");
            rest = &rest[CLOCK.len()..];
        } else if let Some(length) = instant(rest) {
            out.push_str("TIME");
            rest = &rest[length..];
        } else if let Some((broken, length)) = broken_day(rest) {
            out.push_str("DATE-");
            out.push_str(broken);
            rest = &rest[length..];
        } else if let Some((year, length)) = day(rest) {
            out.push_str(if NOW.contains(&year) { "DATE" } else { &rest[..length] });
            rest = &rest[length..];
        } else {
            out.push_str(&one(word));
            rest = after;
        }
    }
    out
}

/// A time of day as it is shown.
const CLOCK: &str = "09:12 UTC";

/// Returns whether a text begins with a time of day.
fn clock(text: &str) -> bool {
    let fits = |(shown, model): (char, char)| {
        if model.is_ascii_digit() { shown.is_ascii_digit() } else { shown == model }
    };
    text.len() >= CLOCK.len() && text.chars().zip(CLOCK.chars()).all(fits)
}

fn one(word: &str) -> String {
    if let Some((kind, id)) = word.split_once('_')
        && kind.len() <= 4
        && id.len() >= ID_LEAST
        && id.chars().all(|c| c.is_ascii_digit() || c.is_ascii_lowercase())
    {
        return format!("{kind}_ID");
    }
    if short_day(word) {
        return "DATE".into();
    }
    if word.len() >= 32 && word.chars().all(|c| c.is_ascii_hexdigit()) {
        return "HASH".into();
    }
    word.into()
}

fn digits(text: &str, count: usize) -> Option<u32> {
    let all = text.get(..count)?;
    (all.bytes().all(|b| b.is_ascii_digit())).then(|| all.parse().ok())?
}

/// Parses a day at the start of `text`. Returns its year and its length.
fn day(text: &str) -> Option<(u32, usize)> {
    let year = digits(text, 4)?;
    let dashes = text.get(4..5)? == "-" && text.get(7..8)? == "-";
    digits(text.get(5..)?, 2)?;
    digits(text.get(8..)?, 2)?;
    let ends = !text[10..].starts_with(|c: char| c.is_ascii_digit());
    (dashes && ends).then_some((year, 10))
}

/// Parses a volatile day that a line break splits at a hyphen. Returns the break and the day's length with it.
fn broken_day(text: &str) -> Option<(&str, usize)> {
    digits(text, 4).filter(|year| NOW.contains(year))?;
    let space = |at: usize| {
        let rest = text.get(at..)?;
        Some(rest.len() - rest.trim_start().len())
    };
    let first = space(5).filter(|_| text.get(4..5) == Some("-"))?;
    let month = 5 + first;
    digits(text.get(month..)?, 2)?;
    let second = space(month + 3).filter(|_| text.get(month + 2..month + 3) == Some("-"))?;
    let day = month + 3 + second;
    digits(text.get(day..)?, 2)?;
    let broken = if first > 0 { &text[5..month] } else { &text[month + 3..day] };
    broken.starts_with('\n').then_some((broken, day + 2))
}

/// Returns whether a word is a volatile day in eight digits.
fn short_day(word: &str) -> bool {
    let fits = |at: usize, most: u32| digits(&word[at..], 2).is_some_and(|n| (1..=most).contains(&n));
    word.len() == 8
        && digits(word, 8).is_some_and(|n| NOW.contains(&(n / 10_000)))
        && fits(4, 12)
        && fits(6, 31)
}

/// Parses the code of an invitation, four groups of four. Returns its length.
fn invitation(text: &str) -> Option<usize> {
    let code = text.get(..19)?;
    let letter = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit();
    let fits = code.char_indices().all(|(at, c)| if at % 5 == 4 { c == '-' } else { letter(c) });
    fits.then_some(19)
}

/// Parses an instant, as in JSON or in a calendar file. Returns its length.
fn instant(text: &str) -> Option<usize> {
    let after = match day(text) {
        Some((_, length)) => length,
        None => digits(text, 8).map(|_| 8)?,
    };
    if text.get(after..=after)? != "T" {
        return None;
    }
    let end = text.find('Z')?;
    let time = &text[after + 1..end];
    (time.len() >= 6 && time.chars().all(|c| c.is_ascii_digit() || c == ':' || c == '.')).then_some(end + 1)
}

/// Parses a lot's code: groups of three, three and one letters or digits, separated by spaces or one line break.
/// Returns its end and the groups.
fn code_at(all: &[char], start: usize) -> Option<(usize, [String; 3])> {
    let letter = |c: &char| c.is_ascii_uppercase() || c.is_ascii_digit();
    if start > 0 && all[start - 1].is_ascii_alphanumeric() {
        return None;
    }
    let mut groups = [const { String::new() }; 3];
    let mut at = start;
    for (n, (group, length)) in groups.iter_mut().zip([3, 3, 1]).enumerate() {
        if n > 0 {
            let spaces = all[at..].iter().take_while(|c| c.is_whitespace()).count();
            if spaces == 0 || spaces > 1 && !all[at..at + spaces].contains(&'\n') {
                return None;
            }
            at += spaces;
        }
        let run = all.get(at..at + length)?;
        if !run.iter().all(letter) {
            return None;
        }
        group.extend(run);
        at += length;
        if n < 2 && !all.get(at).is_some_and(|c| c.is_whitespace()) {
            return None;
        }
    }
    let ends = !all.get(at).is_some_and(|c| c.is_ascii_alphanumeric() || *c == '-');
    ends.then_some((at, groups))
}

/// Returns whether a text is the code of a lot.
fn is_code(text: &str) -> bool {
    let all: Vec<char> = text.chars().collect();
    code_at(&all, 0).is_some_and(|(end, _)| end == all.len())
}

/// Replaces codes of lots that were not captured.
fn codes(text: &str) -> String {
    let mut all: Vec<char> = text.chars().collect();
    for at in 0..all.len() {
        if let Some((end, _)) = code_at(&all, at) {
            all[at..end].iter_mut().filter(|c| !c.is_whitespace()).for_each(|c| *c = 'Z');
        }
    }
    all.into_iter().collect()
}

/// Replaces volatile days in JSON, which take three lines, and page tokens.
fn days_of_json(text: &str) -> String {
    let mut left = 0;
    text.split('\n')
        .map(|line| {
            let Some((key, value)) = line.split_once(": ") else {
                return match line.strip_prefix("--page ") {
                    Some(_) => "--page TOKEN".to_string(),
                    None => line.to_string(),
                };
            };
            let number = value.trim_end_matches(',');
            match key.trim() {
                "\"year\"" if number.parse().is_ok_and(|y: u32| NOW.contains(&y)) => left = 3,
                "\"next_page_token\"" if number != "\"\"" => return format!("{key}: \"TOKEN\","),
                _ => {}
            }
            if left == 0 {
                return line.to_string();
            }
            left -= 1;
            format!("{key}: DATE{}", &value[number.len()..])
        })
        .collect::<Vec<_>>()
        .join("\n")
}

#[test]
fn what_differs_is_made_plain() {
    let captured = vec![
        ("offer".to_string(), "ofr_0123456789abcdefghijklmnop".to_string()),
        ("tree".to_string(), "H7K M4Q C".to_string()),
    ];
    for (printed, kept) in [
        ("ofr_0123456789abcdefghijklmnop of H7K M4Q C, H7KM4QC", "{offer} of {tree}, {tree}"),
        ("lot_0123456789abcdefghijklmnop, 2AB 3CD E; 2AB\n   3CD E.", "lot_ID, ZZZ ZZZ Z; ZZZ\n   ZZZ Z."),
        (
            "from 2026-11-\n    26 or 2026-\n  11-26, 2025-11-\n26",
            "from DATE-\n     or DATE-\n  , 2025-11-\n26",
        ),
        ("--code 2VRC-CSSA-BNWS-4RSB", "--code INVITATION"),
        ("from 2026-11-26 to 2040-02-01, on 2025-12-31.", "from DATE to 2040-02-01, on 2025-12-31."),
        ("last changed 20261126, 20400201", "last changed DATE, 20400201"),
        ("\"at\": \"2040-02-01T10:11:12.345Z\"", "\"at\": \"TIME\""),
        ("DTSTAMP:20261126T101112Z\nDTSTART:20400201", "DTSTAMP:TIME\nDTSTART:20400201"),
        (
            "{\n \"year\": 2027,\n \"month\": 3,\n \"day\": 1\n}",
            "{\n \"year\": DATE,\n \"month\": DATE,\n \"day\": DATE\n}",
        ),
        ("\"year\": 2025,\n\"month\": 3,", "\"year\": 2025,\n\"month\": 3,"),
    ] {
        assert_eq!(plain(printed, &captured), kept);
    }
    assert_eq!(find("ofr_*", "posted (ofr_abc)").as_deref(), Some("ofr_abc"));
    assert_eq!(find("\"code\": \"*", "\"code\": \"x-1\"").as_deref(), Some("x-1"));
    assert_eq!(find("\"code\": \"*\"", "\"code\": \"A B\",").as_deref(), Some("A B"));
    assert_eq!(find("CODE", "its tag: H7K M4Q C").as_deref(), Some("H7K M4Q C"));
}
