//! `railproof compare`: what got worse between two sets of runs.

mod carry_out;
mod shown;
mod table;

use super::records::{Records, failed, tell};
use super::run_set::RunSet;
use super::{Exit, Failure, Format, print, say, show, write_beside};
use crate::clock::{Clock, ComputerClock};
use crate::record::Record;
use crate::record::index::{Answers, Index, Known};
use crate::report;
use crate::study::compare::{Given, Margins, Outcome, Set, Settings, Study, compare as compared, intervals};
use crate::study::{Gathered, Series, gathered};
use anyhow::anyhow;
use carry_out::{CarryOut, carry_out};
use clap::Args;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

const EXAMPLES: &str = "\
Examples:
  railproof compare --firmware 1.4.0 --against 1.5.0 --where plan=firmware
  railproof compare part=belt=L2207 part=belt=L2301 --html belts.html
  railproof compare --firmware 1.4.0 --against 1.5.0 --carry-out test-plans/firmware.yaml \\
      --unit fixtures/units/dunlin-600.yaml --jig fixtures/jigs/simulated.yaml --junit compare.xml
  railproof compare --from before-and-after.csv --paired

A set is what is true of its runs, parted by commas: model=, firmware=, plan=, revision=, serial=, bench=, operator=,
part=NAME=LOT, from=YYYY-MM-DD, to=YYYY-MM-DD. A table has a column for each set; or columns set and value, and if known
measurand, check, reading, serial, unit, lower, upper.

Ends with 1 where something is proven to be worse, with 3 where something cannot be told yet, else with 0.";

/// Step intervals are read from the latest so many runs of each set.
const INTERVALS_OF: usize = 200;

/// Which sets, and how they are compared.
#[derive(Args)]
#[command(after_long_help = EXAMPLES)]
pub struct CompareArgs {
    /// First set: what is true of its runs, such as firmware=1.4.0,plan=firmware
    #[arg(value_name = "FIRST", value_parser = RunSet::parse, requires = "second", conflicts_with_all = ["from", "firmware"])]
    first: Option<RunSet>,
    /// Second set, which may have got worse
    #[arg(value_name = "SECOND", value_parser = RunSet::parse)]
    second: Option<RunSet>,
    /// First set: runs of this firmware
    #[arg(long, value_name = "VERSION", requires = "against", conflicts_with = "from")]
    firmware: Option<String>,
    /// Second set: runs of this firmware
    #[arg(long, value_name = "VERSION", requires = "firmware")]
    against: Option<String>,
    /// What is true of the runs of both sets
    #[arg(long = "where", value_name = "SET", value_parser = RunSet::parse, conflicts_with = "from")]
    both: Option<RunSet>,
    /// Compare the two sets of a table (CSV) instead
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    #[command(flatten)]
    carry_out: CarryOut,
    /// Pair units that ran both, or the rows of a table
    #[arg(long, conflicts_with = "apart")]
    paired: bool,
    /// Pair nothing
    #[arg(long)]
    apart: bool,
    /// Chance of any false proof that something differs
    #[arg(long, value_name = "SHARE", default_value = "5 %", value_parser = risk)]
    risk: f64,
    /// How great a change does not matter: a share of the tolerance (20 % without it), or MEASURAND=VALUE; may be repeated
    #[arg(long, value_name = "MARGIN", value_parser = margin)]
    margin: Vec<MarginArg>,
    /// List what stayed as it was, too
    #[arg(long)]
    all: bool,
    /// Write a page with plots
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Write JUnit XML
    #[arg(long, value_name = "FILE")]
    junit: Option<PathBuf>,
    #[command(flatten)]
    records: Records,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// A margin as it is given.
#[derive(Debug, Clone)]
enum MarginArg {
    Share(f64),
    Of(Given),
}

/// Compares two sets of runs.
pub fn compare(args: &CompareArgs) -> Result<Exit, Failure> {
    let settings = settings(args);
    let study = match &args.from {
        Some(path) => of_table(path, args.paired, settings)?,
        None => of_runs(args, settings)?,
    };
    for given in &study.settings.margins.given {
        if !study.compared.rows.iter().any(|row| given.of(&row.quantity).is_some()) {
            let (name, unit) = (&given.measurand, &given.unit);
            let why = format!("--margin: neither set has a `{name}` that `{unit}` is a unit of");
            return Err(Failure::new(Exit::Usage, anyhow!(why)));
        }
    }
    if let Some(path) = &args.html {
        write_beside(path, &report::compared_html(&study))?;
    }
    if let Some(path) = &args.junit {
        let junit = report::compared_junit(&study, ComputerClock::new().wall());
        write_beside(path, &junit.map_err(|error| Failure::new(Exit::Invalid, error))?)?;
    }
    print(&match args.format {
        Format::Text => report::compared(&study, args.all, show::terminal_width()),
        Format::Json => format!("{:#}\n", shown::as_json(&study)),
    })?;
    Ok(match study.compared.outcome() {
        Outcome::Worse => Exit::DoesNotConform,
        Outcome::CannotTell => Exit::Undecided,
        Outcome::Better | Outcome::Equivalent | Outcome::Alike => Exit::Done,
    })
}

fn settings(args: &CompareArgs) -> Settings {
    let mut margins = Margins::default();
    for given in &args.margin {
        match given {
            MarginArg::Share(share) => margins.share = *share,
            MarginArg::Of(given) => margins.given.push(given.clone()),
        }
    }
    let paired = if args.paired { Some(true) } else { args.apart.then_some(false) };
    Settings { risk: args.risk, margins, paired }
}

fn of_table(path: &Path, paired: bool, settings: Settings) -> Result<Study, Failure> {
    let [(first, before), (second, after)] = table::sets(path, paired)?;
    let set = |name: String, series: &[Series]| {
        let units = series.iter().map(|series| series.values.len()).max().unwrap_or(0);
        Set { name, runs: None, units, simulated: false }
    };
    let compared = compared(&before, &after, &settings);
    Ok(Study {
        sets: [set(first, &before), set(second, &after)],
        settings,
        compared,
        intervals: Default::default(),
        tails: Default::default(),
        told: Vec::new(),
    })
}

fn of_runs(args: &CompareArgs, settings: Settings) -> Result<Study, Failure> {
    let (first, second) = match (&args.first, &args.second, &args.firmware, &args.against) {
        (Some(first), Some(second), ..) => (first.clone(), second.clone()),
        (_, _, Some(first), Some(second)) => (RunSet::firmware(first), RunSet::firmware(second)),
        _ => {
            let why = "name two sets, such as `firmware=1.4.0 firmware=1.5.0`, or a table with --from";
            return Err(Failure::new(Exit::Usage, anyhow!(why)));
        }
    };
    let names = [first.text.clone(), second.text.clone()];
    let carried_out = match (&args.carry_out.plan, &args.firmware, &args.against) {
        (Some(plan), Some(first), Some(second)) => {
            Some(carry_out(plan, &args.carry_out, [first, second], &args.records.results)?)
        }
        _ => None,
    };
    let mut index = args.records.index()?;
    let mut told = Vec::new();
    let mut sides = Vec::new();
    for query in [&first, &second] {
        let wanted = query.wanted(args.both.as_ref());
        let columns = index.columns(&wanted).map_err(failed)?;
        let is_taken = |run: &Known| carried_out.as_ref().is_none_or(|ids: &BTreeSet<String>| ids.contains(&run.id));
        let gathered = gathered(&columns, is_taken)
            .map_err(|why| Failure::new(Exit::BadInput, anyhow!("{}: {why}", query.text)))?;
        if gathered.runs == 0 {
            tell(&mut index);
            return Err(nothing(&mut index, query, &args.records)?);
        }
        let runs = columns.runs.iter().filter(|run| is_taken(run)).map(|run| (run.serial.clone(), run.id.clone()));
        told.extend(gathered.told.iter().map(|said| format!("{}: {said}", query.text)));
        sides.push((gathered, runs.collect::<Vec<_>>()));
    }
    tell(&mut index);
    let [(before, first_runs), (after, second_runs)] = <[_; 2]>::try_from(sides).unwrap_or_default();
    if before.simulated != after.simulated {
        let why = "the runs of one set are simulated, those of the other are not; they say nothing of one another";
        return Err(Failure::new(Exit::BadInput, anyhow!(why)));
    }
    let mut compared_rows = compared(&before.series, &after.series, &settings);
    compared_rows.refused.extend(before.refused.iter().chain(&after.refused).cloned());
    let records = [records(args, &first_runs), records(args, &second_runs)];
    let [early, late] = [0, 1].map(|side: usize| intervals::series(records[side].iter()));
    let tails = [0, 1].map(|side: usize| intervals::tails(records[side].iter()));
    let set = |name: &String, side: &Gathered| Set {
        name: name.clone(),
        runs: Some(side.runs),
        units: side.units,
        simulated: side.simulated,
    };
    Ok(Study {
        sets: [set(&names[0], &before), set(&names[1], &after)],
        compared: compared_rows,
        intervals: compared(&early, &late, &settings),
        settings,
        tails,
        told,
    })
}

/// The whole records of the latest runs, for their histograms. One that cannot be read is told and passed over.
fn records(args: &CompareArgs, runs: &[(String, String)]) -> Vec<Record> {
    let latest = &runs[runs.len().saturating_sub(INTERVALS_OF)..];
    let read = |(serial, id): &(String, String)| {
        let path = args.records.results.join(serial).join(id).join("record.json");
        let text = std::fs::read(&path).map_err(anyhow::Error::from);
        let record = text.and_then(|text| serde_json::from_slice::<Record>(&text).map_err(anyhow::Error::from));
        record
            .map_err(|error| say(&format!("railproof: {}: {error}; its step intervals are left out", path.display())))
            .ok()
    };
    latest.iter().filter_map(read).collect()
}

/// That a set is empty, with what may have been meant.
fn nothing(index: &mut Index, query: &RunSet, records: &Records) -> Result<Failure, Failure> {
    let place = records.results.display();
    let near = query.nearest(index)?;
    let near = near.map(|near| format!("; did you mean {near}?")).unwrap_or_default();
    let why = format!("no run that proves anything is `{}` below {place}{near}", query.text);
    Ok(Failure::new(Exit::BadInput, anyhow!(why)))
}

/// `5 %` or `0.05`.
fn share(text: &str) -> Option<f64> {
    let (number, whole) = match text.trim().strip_suffix('%') {
        Some(number) => (number, 100.0),
        None => (text, 1.0),
    };
    number.trim().parse::<f64>().ok().map(|number| number / whole).filter(|share| share.is_finite() && *share > 0.0)
}

fn risk(text: &str) -> Result<f64, String> {
    share(text).filter(|risk| *risk < 0.5).ok_or_else(|| "write a share below one half, such as 5 %".into())
}

fn margin(text: &str) -> Result<MarginArg, String> {
    if let Some(share) = share(text) {
        return Ok(MarginArg::Share(share));
    }
    given(text).map(MarginArg::Of)
}

/// `cruise speed=0.5 mm/s`: something given for a measurand.
pub fn given(text: &str) -> Result<Given, String> {
    let wrong = || "write a share such as 20 %, or a value such as `cruise speed=0.5 mm/s`".to_owned();
    let (measurand, value) = text.rsplit_once('=').ok_or_else(wrong)?;
    let value = value.trim();
    let end = value.find(|sign: char| sign.is_whitespace()).unwrap_or(value.len());
    let number: f64 = value[..end].parse().map_err(|_| wrong())?;
    if !(number.is_finite() && number > 0.0) {
        return Err("it has to be greater than zero".into());
    }
    Ok(Given { measurand: measurand.trim().into(), value: number, unit: value[end..].trim().into() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn margins_and_risks_are_read() {
        assert!(matches!(margin("25 %"), Ok(MarginArg::Share(share)) if (share - 0.25).abs() < 1e-12));
        let Ok(MarginArg::Of(given)) = margin("cruise speed = 0.5 mm/s") else { panic!("a value") };
        assert_eq!((given.measurand.as_str(), given.value, given.unit.as_str()), ("cruise speed", 0.5, "mm/s"));
        for wrong in ["", "cruise speed", "cruise speed=fast", "x=-1 s", "x=inf s", "0 %", "nan"] {
            assert!(margin(wrong).is_err(), "{wrong}");
        }
        assert_eq!(risk("1 %").ok(), Some(0.01));
        assert!(risk("50 %").is_err() && risk("-1 %").is_err() && risk("x").is_err());
    }
}
