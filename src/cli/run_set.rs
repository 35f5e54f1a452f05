//! A set of runs: what is true of them.

use super::records::failed;
use super::{Failure, day, parts};
use crate::record::index::{Answers, Index, Named, Wanted};
use crate::written::nearest;
use time::{OffsetDateTime, Time};

const KEYS: [&str; 10] = ["model", "firmware", "plan", "revision", "serial", "bench", "operator", "part", "from", "to"];

/// A set of runs.
#[derive(Debug, Clone)]
pub struct RunSet {
    /// As it was written.
    pub text: String,
    terms: Vec<(String, String)>,
}

impl RunSet {
    /// Reads `firmware=1.4.0,part=belt=L2207`.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut terms = Vec::new();
        for term in text.split(',').map(str::trim) {
            let example = "write for example firmware=1.4.0,plan=firmware";
            let (key, value) =
                term.split_once('=').ok_or_else(|| format!("`{term}` says nothing of a run; {example}"))?;
            let (key, value) = (key.trim(), value.trim());
            if !KEYS.contains(&key) {
                let near = nearest(key, KEYS).unwrap_or("firmware");
                return Err(format!("runs have no `{key}`; did you mean `{near}`? They have: {}", KEYS.join(", ")));
            }
            if value.is_empty() {
                return Err(format!("`{term}` has no value; {example}"));
            }
            terms.push((key.to_owned(), value.to_owned()));
        }
        let query = Self { text: text.trim().to_owned(), terms };
        query.fill(&mut Wanted::default())?;
        Ok(query)
    }

    /// Runs of a firmware.
    pub fn firmware(version: &str) -> Self {
        Self { text: format!("firmware {version}"), terms: vec![("firmware".into(), version.into())] }
    }

    /// What is searched for: this, and what is true of both sets.
    pub fn wanted(&self, both: Option<&Self>) -> Wanted {
        let mut wanted = Wanted::default();
        for query in both.into_iter().chain([self]) {
            query.fill(&mut wanted).expect("it was read before");
        }
        wanted
    }

    fn fill(&self, wanted: &mut Wanted) -> Result<(), String> {
        for (key, value) in &self.terms {
            let named = Some(value.clone());
            match key.as_str() {
                "model" => wanted.model = named,
                "firmware" => wanted.firmware = named,
                "plan" => wanted.plan = named,
                "serial" => wanted.serial = named,
                "bench" => wanted.bench = named,
                "operator" => wanted.operator = named,
                "revision" => {
                    let revision =
                        value.parse().map_err(|_| format!("`{value}` is no revision; write a whole number"))?;
                    wanted.revision = Some(revision);
                }
                "part" => wanted.part = Some(parts::part(value)?),
                "from" => wanted.from = Some(OffsetDateTime::new_utc(day(value)?, Time::MIDNIGHT)),
                _ => {
                    let last = day(value)?;
                    wanted.before = Some(OffsetDateTime::new_utc(last.next_day().unwrap_or(last), Time::MIDNIGHT));
                }
            }
        }
        Ok(())
    }

    /// What may have been meant by a name that no run has.
    pub fn nearest(&self, index: &mut Index) -> Result<Option<String>, Failure> {
        for (key, value) in &self.terms {
            let known = match key.as_str() {
                "model" => index.names(Named::Model),
                "firmware" => index.names(Named::Firmware),
                "plan" => index.names(Named::Plan),
                "bench" => index.names(Named::Bench),
                "operator" => index.names(Named::Operator),
                "serial" => index.serials(),
                _ => continue,
            };
            let known = known.map_err(failed)?;
            if !known.contains(value) {
                let near = nearest(value, known.iter().map(String::as_str)).or(known.first().map(String::as_str));
                return Ok(near.map(|near| format!("{key}={near}")));
            }
        }
        Ok(None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_is_what_is_true_of_its_runs() {
        let both = RunSet::parse("plan=firmware, from=2026-11-01").expect("a set");
        let wanted = RunSet::parse("firmware=1.4.0,part=belt=L2207").expect("a set").wanted(Some(&both));
        assert_eq!((wanted.firmware.as_deref(), wanted.plan.as_deref()), (Some("1.4.0"), Some("firmware")));
        let part = wanted.part.expect("a part");
        assert_eq!((part.name.as_str(), part.lot.as_str()), ("belt", "L2207"));
        assert_eq!(wanted.from.map(|from| from.to_string()).as_deref(), Some("2026-11-01 0:00:00.0 +00:00:00"));
        for (text, says) in [
            ("1.4.0", "says nothing of a run"),
            ("firmwear=1.4.0", "did you mean `firmware`?"),
            ("firmware=", "has no value"),
            ("revision=x", "no revision"),
            ("from=yesterday", "write year-month-day"),
            ("part=belt", "NAME=LOT"),
        ] {
            let why = RunSet::parse(text).expect_err("it is none");
            assert!(why.contains(says), "{why}");
        }
    }
}
