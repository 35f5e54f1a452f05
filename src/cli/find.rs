//! `railproof find`: the records that something is true of.

use super::records::{Records, failed, tell};
use super::{Exit, Failure, day, history, parts, print, say, show};
use crate::measure;
use crate::quantity::Tolerance;
use crate::record::index::{Found, Named, Wanted, WantedValue};
use crate::record::stored::{Part, Verdict};
use crate::report;
use crate::written::nearest;
use clap::builder::PossibleValue;
use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use time::{Date, OffsetDateTime};

/// What has to be true of a record. All that is given has to be.
#[derive(Args)]
pub struct FindArgs {
    #[command(flatten)]
    records: Records,
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
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Form,
}

/// How found records are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For people
    Text,
    /// For programs
    Json,
    /// For tables (RFC 4180)
    Csv,
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

/// Finds records. That there are none is an answer and no mistake.
pub fn find(args: &FindArgs) -> Result<Exit, Failure> {
    let at = |day: Date| OffsetDateTime::new_utc(day, time::Time::MIDNIGHT);
    let wanted = Wanted {
        model: args.model.clone(),
        firmware: args.firmware.clone(),
        plan: args.plan.clone(),
        bench: args.bench.clone(),
        operator: args.operator.clone(),
        part: args.part.clone(),
        from: args.from.map(at),
        before: args.to.and_then(Date::next_day).map(at),
        check: args.check.clone(),
        value: args.value.clone(),
        decision: args.decision,
    };
    let mut index = args.records.index()?;
    let found = index.find(&wanted).map_err(failed)?;
    if found.is_empty() {
        for (named, kind, name) in [
            (Named::Model, "model", &wanted.model),
            (Named::Firmware, "firmware", &wanted.firmware),
            (Named::Plan, "plan", &wanted.plan),
            (Named::Bench, "bench", &wanted.bench),
            (Named::Operator, "operator", &wanted.operator),
            (Named::Check, "check", &wanted.check),
        ] {
            let Some(name) = name else { continue };
            let known = index.names(named).map_err(failed)?;
            if !known.contains(name) {
                let near = nearest(name, known.iter().map(String::as_str));
                let near = near.map(|near| format!("; did you mean `{near}`?")).unwrap_or_default();
                say(&format!("railproof: no record has the {kind} `{name}`{near}"));
            }
        }
    }
    tell(&mut index);
    print(&match args.format {
        Form::Text => report::found(&found, show::terminal_width()),
        Form::Json => format!("{:#}\n", json!({ "found": found.iter().map(as_json).collect::<Vec<_>>() })),
        Form::Csv => csv(&found),
    })?;
    Ok(Exit::Done)
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

fn as_json(found: &Found) -> Value {
    let mut told = history::of_run(&found.run);
    if let Some((name, decision)) = &found.check {
        told["check"] = json!({ "name": name, "decision": decision });
    }
    if let Some(value) = &found.value {
        told["value"] = json!({
            "measurand": value.measurand,
            "reading": value.label,
            "value": value.value,
            "standard_uncertainty": value.standard_uncertainty,
            "unit": value.unit,
            "tolerance": value.tolerance,
            "decision": value.decision,
        });
    }
    told
}

/// The columns are the same whatever was searched for.
fn csv(found: &[Found]) -> String {
    let heads = [
        "started",
        "serial",
        "model",
        "firmware",
        "plan",
        "revision",
        "decision",
        "origin",
        "simulated",
        "jig",
        "bench",
        "operator",
        "run",
        "check",
        "check_decision",
        "measurand",
        "reading",
        "value",
        "standard_uncertainty",
        "unit",
        "tolerance",
        "value_decision",
    ];
    let mut text = heads.join(",") + "\r\n";
    for found in found {
        let told = as_json(found);
        let (check, value) = (&told["check"], &told["value"]);
        let cells = heads[..13].iter().map(|head| &told[*head]).chain([&check["name"], &check["decision"]]).chain(
            ["measurand", "reading", "value", "standard_uncertainty", "unit", "tolerance", "decision"]
                .iter()
                .map(|head| &value[*head]),
        );
        let cells: Vec<String> = cells.map(cell).collect();
        text.push_str(&(cells.join(",") + "\r\n"));
    }
    text
}

/// A value as a cell, in quotes where it has to be.
fn cell(value: &Value) -> String {
    let text = match value {
        Value::Null => return String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    if text.contains([',', '"', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text }
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

    #[test]
    fn cells_are_quoted_where_they_have_to_be() {
        assert_eq!(cell(&json!("a,\"b\"\n")), "\"a,\"\"b\"\"\n\"");
        assert_eq!(
            (cell(&json!(1.5)), cell(&Value::Null), cell(&json!("plain"))),
            ("1.5".into(), "".into(), "plain".into())
        );
    }
}
