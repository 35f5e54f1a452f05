//! The trust file: which keys sign for which bench, and until when. It is an `allowed_signers` file of OpenSSH (ssh-keygen(1),
//! "ALLOWED SIGNERS"), so that `ssh-keygen -Y verify` reads the same one.
//!
//! A retired key keeps its line, with `valid-before="…Z"`: what it signed until then stays valid. A stolen key could sign with
//! an older date; the chain of the bench's runs then shows a run that was put in.

use super::key::{KIND, PublicKey};
use super::signature::NAMESPACE;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use time::macros::format_description;
use time::{Date, OffsetDateTime, PrimitiveDateTime, Time};

/// Name of the trust file that is looked for in a results folder.
pub const TRUST: &str = "trusted-benches";

/// Keys and whom they sign for.
#[derive(Debug, Default)]
pub struct Trust {
    lines: Vec<Line>,
}

#[derive(Debug, Default)]
struct Line {
    principals: String,
    namespaces: Option<String>,
    after: Option<OffsetDateTime>,
    before: Option<OffsetDateTime>,
    key: Option<PublicKey>,
}

impl Trust {
    /// Reads a trust file. Keys of other kinds are left to others.
    ///
    /// # Errors
    /// The number of each line that cannot be understood, and why.
    pub fn read(text: &str) -> Result<Self, Vec<(usize, String)>> {
        let mut trust = Self::default();
        let mut wrong = Vec::new();
        for (number, text) in (1..).zip(text.lines()) {
            let text = text.trim();
            if text.is_empty() || text.starts_with('#') {
                continue;
            }
            match line(text) {
                Ok(line) => trust.lines.push(line),
                Err(why) => wrong.push((number, why)),
            }
        }
        if wrong.is_empty() { Ok(trust) } else { Err(wrong) }
    }

    /// Adds what another file says.
    pub fn add(&mut self, mut other: Self) {
        self.lines.append(&mut other.lines);
    }

    /// Why a key is not to be believed where it signed for a bench at a time; none where it is.
    pub fn objection(&self, bench: &str, key: PublicKey, at: Option<OffsetDateTime>) -> Option<String> {
        let fingerprint = key.fingerprint();
        let of_key: Vec<&Line> = self.lines.iter().filter(|line| line.key == Some(key)).collect();
        if of_key.is_empty() {
            return Some(format!("signed with {fingerprint}, which the trust file does not know"));
        }
        let for_this = |line: &&&Line| {
            is_among(bench, &line.principals)
                && line.namespaces.as_ref().is_none_or(|namespaces| is_among(NAMESPACE, namespaces))
        };
        let lines: Vec<&&Line> = of_key.iter().filter(for_this).collect();
        let in_time = |line: &&&Line| {
            at.is_some_and(|at| {
                line.after.is_none_or(|after| at >= after) && line.before.is_none_or(|before| at <= before)
            })
        };
        if lines.is_empty() {
            Some(format!("signed with {fingerprint}, which the trust file knows for another bench or another purpose"))
        } else if lines.iter().any(in_time) {
            None
        } else {
            Some(format!("signed with {fingerprint}, which was not valid when this run was sealed"))
        }
    }
}

/// A line that says that a key signs for a bench's records.
pub fn line_for(bench: &str, key: PublicKey) -> String {
    format!("{bench} namespaces=\"{NAMESPACE}\" {KIND} {}", key.to_base64())
}

fn line(text: &str) -> Result<Line, String> {
    let example = || format!("write for example `bench-3 namespaces=\"{NAMESPACE}\" {KIND} AAAA…`");
    let words = words(text).ok_or_else(|| format!("a quotation mark is not closed; {}", example()))?;
    let mut words = words.into_iter().peekable();
    let principals = words.next().unwrap_or_default();
    let mut line = Line { principals, ..Line::default() };
    // Kinds of keys hold a hyphen or begin with `ssh`; options are these.
    if let Some(options) = words.next_if(|word| is_options(word)) {
        options_into(&mut line, &options)?;
    }
    let (Some(kind), Some(key)) = (words.next(), words.next()) else {
        return Err(format!("a bench's name and a key have to stand here; {}", example()));
    };
    let wire = STANDARD.decode(&key).map_err(|_| format!("the key's base64 is damaged; {}", example()))?;
    if kind == KIND {
        let key = PublicKey::from_wire(&wire).ok_or_else(|| format!("this is no {KIND} key; {}", example()))?;
        line.key = Some(key);
    }
    Ok(line)
}

const OPTIONS: [&str; 4] = ["namespaces=", "valid-after=", "valid-before=", "cert-authority"];

fn is_options(word: &str) -> bool {
    let word = word.to_ascii_lowercase();
    OPTIONS.iter().any(|option| word.starts_with(option))
}

fn options_into(line: &mut Line, options: &str) -> Result<(), String> {
    for option in split(options, ',').ok_or("a quotation mark is not closed")? {
        let (name, value) = option.split_once('=').unwrap_or((&option, ""));
        let value = value.trim_matches('"');
        match name.to_ascii_lowercase().as_str() {
            "namespaces" => line.namespaces = Some(value.to_owned()),
            "valid-after" => line.after = Some(moment(value)?),
            "valid-before" => line.before = Some(moment(value)?),
            "cert-authority" => return Err("certificates are not understood here; list the bench's own key".into()),
            _ => {
                return Err(format!(
                    "the option `{name}` is unknown; namespaces, valid-after and valid-before are known"
                ));
            }
        }
    }
    Ok(())
}

/// `20270131Z`, `202701311200Z` or `20270131120000Z`: UTC, since the file is read on computers of any time zone.
fn moment(text: &str) -> Result<OffsetDateTime, String> {
    let wrong = || format!("`{text}` is no time in UTC; write for example 20270131Z or 202701311200Z");
    let digits = text.strip_suffix(['Z', 'z']).ok_or_else(wrong)?;
    if !digits.is_ascii() || digits.len() < 8 {
        return Err(wrong());
    }
    let (date, time) = digits.split_at(8);
    let date = Date::parse(date, format_description!("[year][month][day]")).map_err(|_| wrong())?;
    let time = match time.len() {
        0 => Ok(Time::MIDNIGHT),
        4 => Time::parse(time, format_description!("[hour][minute]")),
        _ => Time::parse(time, format_description!("[hour][minute][second]")),
    };
    Ok(PrimitiveDateTime::new(date, time.map_err(|_| wrong())?).assume_utc())
}

/// Words between blanks, where quotation marks hold a word together; the first loses its own.
fn words(text: &str) -> Option<Vec<String>> {
    let mut words = split(&text.replace('\t', " "), ' ')?;
    words.retain(|word| !word.is_empty());
    if let Some(first) = words.first_mut() {
        *first = first.trim_matches('"').to_owned();
    }
    Some(words)
}

fn split(text: &str, at: char) -> Option<Vec<String>> {
    let mut parts = vec![String::new()];
    let mut quoted = false;
    for character in text.chars() {
        quoted ^= character == '"';
        if character == at && !quoted {
            parts.push(String::new());
        } else if let Some(part) = parts.last_mut() {
            part.push(character);
        }
    }
    (!quoted).then_some(parts)
}

/// Whether a name fits a list of patterns (ssh_config(5), PATTERNS): `*`, `?`, and `!` for those that must not fit.
fn is_among(name: &str, patterns: &str) -> bool {
    let fits = |pattern: &str| fits(name.as_bytes(), pattern.as_bytes());
    let mut patterns = patterns.split(',');
    let barred = patterns.clone().any(|pattern| pattern.strip_prefix('!').is_some_and(fits));
    !barred && patterns.any(|pattern| !pattern.starts_with('!') && fits(pattern))
}

/// `*` is given back what follows it until the rest fits: linear in both for each star.
fn fits(name: &[u8], pattern: &[u8]) -> bool {
    let (mut at, mut of, mut star) = (0, 0, None);
    while at < name.len() {
        match pattern.get(of) {
            Some(b'*') => {
                star = Some((at, of));
                of += 1;
            }
            Some(byte) if *byte == b'?' || *byte == name[at] => (at, of) = (at + 1, of + 1),
            _ => {
                let Some((taken, begins)) = star else { return false };
                star = Some((taken + 1, begins));
                (at, of) = (taken + 1, begins + 1);
            }
        }
    }
    pattern[of..].iter().all(|byte| *byte == b'*')
}

#[cfg(test)]
mod tests {
    use super::super::BenchKey;
    use super::*;
    use time::macros::datetime;

    fn key() -> PublicKey {
        BenchKey::new("bench-3", &[7; 32]).public()
    }

    fn objection(line: &str, bench: &str) -> Option<String> {
        let line = line.replace("KEY", &format!("{KIND} {}", key().to_base64()));
        let trust = Trust::read(&format!("# benches\n\n{line}\n")).unwrap_or_else(|wrong| panic!("{wrong:?}"));
        trust.objection(bench, key(), Some(datetime!(2027-01-31 12:00 UTC)))
    }

    #[test]
    fn a_key_is_believed_for_its_bench_its_purpose_and_its_time() {
        for line in [
            "bench-3 KEY",
            "bench-3 KEY the one by the window",
            "bench-1,bench-3 KEY",
            "bench-* KEY",
            "\"bench-?,!bench-2\" KEY",
            "bench-3 namespaces=\"git,railproof-*\" KEY",
            "bench-3 valid-before=\"202701311200Z\" KEY",
            "bench-3\tvalid-after=\"20270131Z\",valid-before=\"20270201Z\"  KEY",
        ] {
            assert_eq!(objection(line, "bench-3"), None, "{line}");
        }
        for (line, words) in [
            ("bench-4 KEY", "for another bench"),
            ("bench-*,!bench-3 KEY", "for another bench"),
            ("bench-3 namespaces=\"git\" KEY", "another purpose"),
            ("bench-3 valid-before=\"20270131115959Z\" KEY", "not valid when"),
            ("bench-3 valid-after=\"20270201Z\" KEY", "not valid when"),
            ("# bench-3 KEY", "does not know"),
        ] {
            let said = objection(line, "bench-3").unwrap_or_else(|| panic!("{line}"));
            assert!(said.contains(words) && said.contains("SHA256:"), "{line}: {said}");
        }
        assert!(Trust::default().objection("bench-3", key(), None).is_some());
        // A key that was retired and a line for the time after.
        let both = "bench-3 valid-before=\"20270101Z\" KEY\nbench-3 valid-after=\"20270131Z\" KEY";
        assert_eq!(objection(both, "bench-3"), None);
    }

    #[test]
    fn lines_that_are_wrong_are_told_with_their_number() {
        for (line, words) in [
            ("bench-3", "a bench's name and a key"),
            ("bench-3 ssh-ed25519", "a bench's name and a key"),
            ("bench-3 ssh-ed25519 AAAA", "no ssh-ed25519 key"),
            ("bench-3 ssh-ed25519 AA!A", "base64"),
            ("bench-3 valid-before=\"20270131\" ssh-ed25519 AAAA", "no time in UTC"),
            ("bench-3 valid-before=\"2027013112Z\" ssh-ed25519 AAAA", "no time in UTC"),
            ("bench-3 valid-after=\"20271301Z\" ssh-ed25519 AAAA", "no time in UTC"),
            ("bench-3 valid-after=\"2027ä01Z\" ssh-ed25519 AAAA", "no time in UTC"),
            ("bench-3 cert-authority ssh-ed25519 AAAA", "certificates"),
            ("bench-3 namespaces=\"a\",until=\"b\" ssh-ed25519 AAAA", "`until` is unknown"),
            ("bench-3 namespaces=\"a ssh-ed25519 AAAA", "quotation mark"),
        ] {
            let wrong = Trust::read(&format!("# one\n{line}")).expect_err(line);
            assert!(matches!(&wrong[..], [(2, why)] if why.contains(words)), "{line}: {wrong:?}");
        }
        // A key of another kind is somebody else's business.
        assert!(Trust::read("you@example.org ssh-rsa AAAAB3NzaC1yc2E=").is_ok());
    }

    #[test]
    fn patterns_fit_as_the_manual_says() {
        for (name, pattern, fit) in [
            ("bench-3", "*", true),
            ("bench-3", "b*h-?", true),
            ("bench-3", "b*h-??", false),
            ("bench-3", "bench-3*", true),
            ("", "*", true),
            ("", "?", false),
            ("aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaab", "*a*a*a*a*a*a*a*a*c", false),
        ] {
            assert_eq!(is_among(name, pattern), fit, "{name} {pattern}");
        }
    }
}
