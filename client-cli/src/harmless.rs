//! Makes text from the server or from other members harmless before it reaches the terminal: no character can control
//! the terminal or reorder the text.

/// Returns whether a character controls rather than shows: C0 and C1 controls, and the Unicode format characters that
/// reorder, break, hide or tag text (UAX #9, UTR #36). Joiners are kept, because some scripts need them.
fn steers(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{061c}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}'
            | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// Removes control characters from text for a terminal, except line ends.
pub(crate) fn text(text: &str) -> String {
    text.chars().filter(|c| !steers(*c) || *c == '\n').collect()
}

/// Escapes control characters in JSON for a terminal, so that the data stay the same. They occur only inside strings;
/// the line ends of the layout stay.
pub(crate) fn json(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if steers(c) && c != '\n' {
            for unit in c.encode_utf16(&mut [0; 2]) {
                out.push_str(&format!("\\u{unit:04x}"));
            }
        } else {
            out.push(c);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    const NASTY: &str = "a\u{1b}[2Jb\u{9b}31mc\u{202e}d\u{2028}e\u{2066}f\u{e0041}g\u{200b}h\u{7f}";

    #[test]
    fn nothing_steers_a_terminal() {
        assert_eq!(text(NASTY), "a[2Jb31mcdefgh");
        assert_eq!(text("two\nlines, क्‍ष, 接ぎ木, עץ"), "two\nlines, क्‍ष, 接ぎ木, עץ");
    }

    #[test]
    fn json_keeps_its_data() {
        let written = json(&serde_json::json!({ "name": NASTY }).to_string());
        assert!(written.chars().all(|c| !steers(c)), "{written}");
        let read: serde_json::Value = serde_json::from_str(&written).unwrap();
        assert_eq!(read["name"], NASTY);
    }
}
