//! The typeface of the sheets: which characters it has, how wide a text is, where a line breaks.
//!
//! PDF/A refuses a character without a glyph (ISO 19005-2, 6.2.11.8), so every text is made drawable before it is drawn.
//! Kerning is left out of the measuring; it makes lines a little shorter than measured, never longer than a column.

use std::collections::HashMap;
use std::sync::LazyLock;
use ttf_parser::Face;

/// Stands for a character that the face lacks.
pub const LACKING: char = '□';

/// A weight of the face.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    Regular,
    SemiBold,
}

impl Weight {
    /// The font file.
    pub const fn file(self) -> &'static [u8] {
        match self {
            Self::Regular => include_bytes!("fonts/Inter-Regular.otf"),
            Self::SemiBold => include_bytes!("fonts/Inter-SemiBold.otf"),
        }
    }

    /// Advance of every character that the face has, as a share of the size.
    fn advances(self) -> &'static HashMap<char, f64> {
        static ADVANCES: LazyLock<[HashMap<char, f64>; 2]> = LazyLock::new(|| {
            [Weight::Regular, Weight::SemiBold].map(|weight| {
                let face = Face::parse(weight.file(), 0).expect("the fonts that are built in can be read");
                advances(&face)
            })
        });
        &ADVANCES[self as usize]
    }
}

fn advances(face: &Face<'_>) -> HashMap<char, f64> {
    let mut advances = HashMap::new();
    for table in
        face.tables().cmap.iter().flat_map(|cmap| cmap.subtables).filter(ttf_parser::cmap::Subtable::is_unicode)
    {
        table.codepoints(|code| {
            let advance = table.glyph_index(code).and_then(|glyph| face.glyph_hor_advance(glyph));
            if let (Some(character), Some(advance)) = (char::from_u32(code), advance) {
                advances.insert(character, f64::from(advance) / f64::from(face.units_per_em()));
            }
        });
    }
    advances
}

/// The text with a [`LACKING`] mark for each character that the face lacks.
pub fn drawable(text: &str) -> String {
    let has = Weight::Regular.advances();
    text.chars().map(|character| if has.contains_key(&character) { character } else { LACKING }).collect()
}

/// Width of a drawable text, in the unit of `size`.
pub fn width(text: &str, weight: Weight, size: f64) -> f64 {
    let advances = weight.advances();
    text.chars().map(|character| advances.get(&character).copied().unwrap_or(1.0)).sum::<f64>() * size
}

/// The text in lines no wider than `room`: broken at spaces, and inside a word only where the word alone is too wide.
pub fn wrap(text: &str, weight: Weight, size: f64, room: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let joined = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&joined, weight, size) <= room {
            line = joined;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        line = break_word(word, weight, size, room, &mut lines);
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

/// Pushes all full lines of a word and returns what is left of it.
fn break_word(word: &str, weight: Weight, size: f64, room: f64, lines: &mut Vec<String>) -> String {
    let mut rest = String::new();
    let mut taken = 0.0;
    for character in word.chars() {
        let advance = width(character.encode_utf8(&mut [0; 4]), weight, size);
        if taken + advance > room && !rest.is_empty() {
            lines.push(std::mem::take(&mut rest));
            taken = 0.0;
        }
        rest.push(character);
        taken += advance;
    }
    rest
}

/// The text cut to one line, with an ellipsis where something is missing.
pub fn fitted(text: &str, weight: Weight, size: f64, room: f64) -> String {
    if width(text, weight, size) <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut taken = width("…", weight, size);
    for character in text.chars() {
        taken += width(character.encode_utf8(&mut [0; 4]), weight, size);
        if taken > room {
            break;
        }
        kept.push(character);
    }
    format!("{}…", kept.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_face_has_what_every_sheet_prints() {
        let needed = "0123456789 ±−≤≥µΩ°%✓✗?!…×·→²³ÅÄÖåäöéßŁłžαβσЖя";
        assert_eq!(drawable(needed), needed);
        for weight in [Weight::Regular, Weight::SemiBold] {
            assert!(needed.chars().all(|needed| weight.advances().contains_key(&needed)));
        }
        assert_eq!(drawable("山田"), "□□");
    }

    #[test]
    fn no_line_is_wider_than_its_room() {
        let text = format!("short words and {} then more", "Donaudampfschiff".repeat(30));
        let lines = wrap(&text, Weight::Regular, 8.0, 100.0);
        assert!(lines.iter().all(|line| width(line, Weight::Regular, 8.0) <= 100.0), "{lines:?}");
        assert_eq!(lines.concat().replace(' ', ""), text.replace(' ', ""));
    }

    #[test]
    fn a_room_too_small_for_a_letter_still_ends() {
        assert_eq!(wrap("abc", Weight::Regular, 8.0, 0.1), ["a", "b", "c"]);
        assert_eq!(wrap("", Weight::Regular, 8.0, 10.0), [""]);
    }
}
