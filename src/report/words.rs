//! What others wrote, made safe to show: nothing in it may act on the page, hide, or reorder what stands beside it.
//!
//! A serial number or an operator's name is free text. A control character, a zero-width or a direction mark in it is
//! shown by its code point, a pile of combining marks is cut down, and what is longer than any honest name is cut with a
//! note of how much is missing; `record.json` keeps it whole.

/// Characters of one string that a report shows.
pub const LENGTH_MAX: usize = 400;
/// Combining marks in a row that are kept; more would climb over the lines above.
const MARKS_MAX: usize = 2;

/// The text as it may be shown on one line or wrapped over several.
pub fn visible(text: &str) -> String {
    visible_within(text, LENGTH_MAX)
}

/// The same with a length of its own.
pub fn visible_within(text: &str, length_max: usize) -> String {
    let mut shown = String::new();
    let mut length = 0;
    let mut marks = 0;
    let text = text.trim();
    for (taken, character) in text.chars().enumerate() {
        if length >= length_max {
            shown.push_str(&format!("… [{} characters more]", text.chars().count() - taken));
            break;
        }
        marks = if is_combining(character) { marks + 1 } else { 0 };
        if marks > MARKS_MAX {
            continue;
        }
        match character {
            '\n' | '\r' | '\t' | '\u{2028}' | '\u{2029}' => shown.push(' '),
            hidden if hidden.is_control() || acts_unseen(hidden) => {
                let code = format!("[U+{:04X}]", u32::from(hidden));
                length += code.len() - 1;
                shown.push_str(&code);
            }
            plain => shown.push(plain),
        }
        length += 1;
    }
    shown
}

/// Whether a character directs, joins or parts its neighbours without being seen.
fn acts_unseen(character: char) -> bool {
    matches!(u32::from(character),
        0x00AD | 0x034F | 0x061C | 0x115F | 0x1160 | 0x17B4 | 0x17B5 | 0x180B..=0x180F | 0x200B..=0x200F
        | 0x202A..=0x202E | 0x2060..=0x206F | 0x3164 | 0xFE00..=0xFE0F | 0xFEFF | 0xFFA0 | 0xFFF0..=0xFFFB | 0xFFFE | 0xFFFF
        | 0xE0000..=0xE0FFF)
}

fn is_combining(character: char) -> bool {
    matches!(u32::from(character), 0x0300..=0x036F | 0x0483..=0x0489 | 0x1AB0..=0x1AFF | 0x1DC0..=0x1DFF
        | 0x20D0..=0x20FF | 0xFE20..=0xFE2F)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_acts_unseen_is_shown_by_its_code_point() {
        assert_eq!(visible("SM-0001\u{202E}1000"), "SM-0001[U+202E]1000");
        assert_eq!(visible("a\u{0}b\u{1b}[31m\u{7f}"), "a[U+0000]b[U+001B][31m[U+007F]");
        assert_eq!(visible("two\nlines\u{200b}"), "two lines[U+200B]");
        assert_eq!(visible("Mira Løvås 漢字"), "Mira Løvås 漢字");
    }

    #[test]
    fn what_is_too_long_is_cut_with_a_note() {
        let shown = visible(&"x".repeat(10_000));
        assert!(shown.ends_with("… [9600 characters more]"), "{shown}");
        assert!(shown.chars().count() < LENGTH_MAX + 40);
        assert_eq!(visible(&"x".repeat(LENGTH_MAX)), "x".repeat(LENGTH_MAX));
    }

    #[test]
    fn combining_marks_do_not_pile_up() {
        let piled = format!("a{}b", "\u{0301}".repeat(50));
        assert_eq!(visible(&piled), "a\u{0301}\u{0301}b");
    }
}
