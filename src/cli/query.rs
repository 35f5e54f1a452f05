//! What records are asked for by, for every command that picks some of them.

use super::records::failed;
use super::{Failure, day, parts, say};
use crate::measure;
use crate::quantity::Tolerance;
use crate::record::Answers;
use crate::record::index::{Named, Wanted, WantedValue};
use crate::record::stored::{Part, Verdict};
use crate::written::nearest;
use clap::builder::PossibleValue;
use clap::{Args, ValueEnum};
use time::{Date, OffsetDateTime};

/// What has to be true of a record. All that is given has to be.
#[derive(Debug, Clone, Args)]
pub struct Query {
    /// The unit's model, as plans name it
    #[arg(long, value_name = "NAME")]
    model: Option<String>,
    /// The unit's firmware, as it reports it
    #[arg(long, value_name = "VERSION")]
    firmware: Option<String>,
    /// The plan's name
    #[arg(long, value_name = "NAME")]
    plan: Option<String>,
    /// A check's name
    #[arg(long, value_name = "NAME")]
    check: Option<String>,
    /// The decision: on the value if one is searched for, else on the check if one is named, else on the unit
    #[arg(long, value_enum)]
    decision: Option<Verdict>,
    /// A measurand and its limits, such as "cruise speed at least 88 mm/s"; each value within them is found
    #[arg(long, value_name = "MEASURAND LIMITS", value_parser = value)]
    value: Option<WantedValue>,
    /// A part and its lot, such as belt=L2207
    #[arg(long, value_name = "NAME=LOT", value_parser = parts::part)]
    part: Option<Part>,
    /// Name of the bench or of its jig
    #[arg(long, value_name = "NAME")]
    bench: Option<String>,
    /// Who was at the bench
    #[arg(long, value_name = "NAME")]
    operator: Option<String>,
    /// Began on this day (UTC) or later
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    from: Option<Date>,
    /// Began on this day (UTC) or earlier
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    to: Option<Date>,
}

impl ValueEnum for Verdict {
    fn value_variants<'a>() -> &'a [Self] {
        &[Self::Conforms, Self::Undecided, Self::DoesNotConform, Self::Invalid]
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        Some(match self {
            Self::Conforms => PossibleValue::new("conforms"),
            Self::Undecided => PossibleValue::new("undecided"),
            Self::DoesNotConform => PossibleValue::new("does-not-conform").alias("does not conform"),
            Self::Invalid => PossibleValue::new("invalid"),
        })
    }
}

impl Query {
    /// The same as the index takes it.
    pub fn wanted(&self) -> Wanted {
        let at = |day: Date| OffsetDateTime::new_utc(day, time::Time::MIDNIGHT);
        Wanted {
            model: self.model.clone(),
            firmware: self.firmware.clone(),
            plan: self.plan.clone(),
            bench: self.bench.clone(),
            operator: self.operator.clone(),
            part: self.part.clone(),
            from: self.from.map(at),
            before: self.to.and_then(Date::next_day).map(at),
            check: self.check.clone(),
            value: self.value.clone(),
            decision: self.decision,
            ..Wanted::default()
        }
    }

    /// Where nothing was found: tells which names no record has, with the one that may have been meant.
    pub fn tell_unknown(&self, source: &mut impl Answers) -> Result<(), Failure> {
        for (named, kind, name) in [
            (Named::Model, "model", &self.model),
            (Named::Firmware, "firmware", &self.firmware),
            (Named::Plan, "plan", &self.plan),
            (Named::Bench, "bench", &self.bench),
            (Named::Operator, "operator", &self.operator),
            (Named::Check, "check", &self.check),
        ] {
            let Some(name) = name else { continue };
            let known = source.names(named).map_err(failed)?;
            if !known.contains(name) {
                let near = nearest(name, known.iter().map(String::as_str));
                let near = near.map(|near| format!("; did you mean `{near}`?")).unwrap_or_default();
                say(&format!("railproof: no record has the {kind} `{name}`{near}"));
            }
        }
        Ok(())
    }
}

/// `cruise speed at least 88 mm/s`: a measurand's name, then its limits, or none for any value.
fn value(text: &str) -> Result<WantedValue, String> {
    let text = text.trim();
    let names = measure::CATALOGUE.iter().filter_map(|measurand| {
        let rest = text.strip_prefix(measurand.name)?;
        (rest.is_empty() || rest.starts_with(char::is_whitespace)).then_some((measurand, rest.trim()))
    });
    let Some((measurand, rest)) = names.max_by_key(|(measurand, _)| measurand.name.len()) else {
        let words = text.split_whitespace().take(2).collect::<Vec<_>>().join(" ");
        let near = nearest(&words, measure::CATALOGUE.iter().map(|measurand| measurand.name));
        let near = near.unwrap_or("cruise speed");
        return Err(format!("it begins with no measurand; write for example `{near} at least …`"));
    };
    let (lower, upper) = match rest {
        "" => (None, None),
        limits => Tolerance::parse(limits, measurand.dimension).map_err(|error| error.to_string())?.limits(),
    };
    Ok(WantedValue { measurand: measurand.name.to_owned(), lower, upper })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_read_as_it_is_written_in_plans() {
        let speed = value("cruise speed at least 88 mm/s").expect("it is one");
        assert_eq!((&*speed.measurand, speed.lower, speed.upper), ("cruise speed", Some(0.088), None));
        assert_eq!(value(" missing steps ").expect("any value").upper, None);
        let crawl = value("crawl interval scatter at most 5 ms").expect("the longer name");
        assert_eq!((&*crawl.measurand, crawl.upper), ("crawl interval scatter", Some(0.005)));
        for (text, says) in [
            ("", "it begins with no measurand"),
            ("criuse speed at least 1 mm/s", "`cruise speed at least"),
            ("cruise speeds", "it begins with no measurand"),
            ("cruise speed at least 88 mV", "mV"),
            ("cruise speed 88", "88"),
        ] {
            let why = value(text).expect_err(text);
            assert!(why.contains(says), "{text}: {why}");
        }
    }
}
