//! A file's text and the name under which it is spoken of.

use super::Problem;
use std::sync::Arc;

/// A file's text and the name under which it is spoken of. Cheap to clone: every problem carries its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    name: Arc<str>,
    text: Arc<str>,
}

impl Source {
    /// A text under a name, usually the file's path as the user gave it. A byte-order mark is left out.
    pub fn new(name: impl AsRef<str>, text: impl AsRef<str>) -> Self {
        let text = text.as_ref();
        Self { name: name.as_ref().into(), text: text.strip_prefix('\u{feff}').unwrap_or(text).into() }
    }

    /// A file's bytes, which should be UTF-8. If not, the problem has the place of the first byte that is not.
    pub fn from_bytes(name: impl AsRef<str>, bytes: &[u8]) -> Result<Self, Box<Problem>> {
        match std::str::from_utf8(bytes) {
            Ok(text) => Ok(Self::new(name, text)),
            Err(error) => {
                let readable = String::from_utf8_lossy(bytes);
                let source = Self::new(name, readable);
                let start = source.text.find('\u{fffd}').unwrap_or(error.valid_up_to());
                let what = "this byte is not UTF-8 text".to_owned();
                let right = "save the file as UTF-8".to_owned();
                Err(Box::new(Problem::new(&source, start..start + '\u{fffd}'.len_utf8(), "", what, right)))
            }
        }
    }

    /// The name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The text.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Line and column of a byte, both counted from 1, the column in characters.
    pub fn line_and_column(&self, byte: usize) -> (usize, usize) {
        let before = &self.text[..self.text.floor_char_boundary(byte)];
        let line_start = before.rfind('\n').map_or(0, |end| end + 1);
        (before.bytes().filter(|&byte| byte == b'\n').count() + 1, before[line_start..].chars().count() + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_and_lines_end_either_way() {
        let source = Source::new("a.yaml", "\u{feff}µ: 1\r\nb: 2\n");
        assert_eq!(source.text().chars().next(), Some('µ'));
        assert_eq!(source.line_and_column(0), (1, 1));
        assert_eq!(source.line_and_column("µ: ".len()), (1, 4));
        assert_eq!(source.line_and_column("µ: 1\r\nb".len()), (2, 2));
        assert_eq!(source.line_and_column(9999), (3, 1));
    }

    #[test]
    fn bytes_that_are_no_text_are_placed() {
        let problem = Source::from_bytes("a.yaml", b"plan: x\nname: \xb5m\n").unwrap_err();
        assert_eq!((problem.line, problem.column), (2, 7));
        assert!(Source::from_bytes("a.yaml", "plan: µ".as_bytes()).is_ok());
    }
}
