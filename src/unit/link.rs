//! The unit's line link: bytes to lines, with limits, so that a unit that babbles cannot fill the memory.

/// The longest line that is kept; a longer one is cut and so matches no pattern.
const LINE_MAX: usize = 1024;

/// Puts lines together from bytes as they arrive.
#[derive(Debug, Clone, Default)]
pub struct LineLink {
    pending: Vec<u8>,
    overlong: bool,
}

impl LineLink {
    /// Takes bytes and calls `line` with each line that is now complete, without its ending. CR, LF and CR LF all end a
    /// line; empty lines are passed over; bytes outside UTF-8 become U+FFFD.
    pub fn accept(&mut self, bytes: &[u8], mut line: impl FnMut(String)) {
        for &byte in bytes {
            match byte {
                b'\n' | b'\r' => {
                    if !self.pending.is_empty() {
                        line(self.take());
                    }
                }
                _ if self.pending.len() >= LINE_MAX => self.overlong = true,
                _ => self.pending.push(byte),
            }
        }
    }

    /// What has arrived of a line that has no end yet.
    pub fn unfinished(&self) -> Option<String> {
        (!self.pending.is_empty()).then(|| String::from_utf8_lossy(&self.pending).into_owned())
    }

    /// Forgets an unfinished line: after the unit's supply was switched.
    pub fn forget(&mut self) {
        self.pending.clear();
        self.overlong = false;
    }

    fn take(&mut self) -> String {
        let mut text = String::from_utf8_lossy(&self.pending).into_owned();
        if self.overlong {
            text.push('…');
        }
        self.forget();
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(chunks: &[&[u8]]) -> Vec<String> {
        let (mut link, mut heard) = (LineLink::default(), Vec::new());
        chunks.iter().for_each(|chunk| link.accept(chunk, |line| heard.push(line)));
        heard
    }

    #[test]
    fn lines_come_whole_however_they_arrive() {
        assert_eq!(lines(&[b"OK G", b"O R\r", b"\nDONE\n\n", b"half"]), ["OK GO R", "DONE"]);
        assert_eq!(lines(&[b"\xff\xfeO\n"]), ["\u{fffd}\u{fffd}O"]);
    }

    #[test]
    fn a_line_without_its_end_is_known() {
        let mut link = LineLink::default();
        link.accept(b"DONE 3.5\n", |_| {});
        assert_eq!(link.unfinished(), None);
        link.accept(b"DONE 3.5\x0b", |line| panic!("{line}"));
        assert_eq!(link.unfinished().as_deref(), Some("DONE 3.5\x0b"));
    }

    #[test]
    fn a_babbling_unit_is_cut_short() {
        let heard = lines(&[&[b'x'; 100_000], b"\n"]);
        assert_eq!(heard[0].chars().count(), LINE_MAX + 1);
        assert!(heard[0].ends_with('…'));
    }
}
