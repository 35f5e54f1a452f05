//! `railproof gauge`: a repeatability and reproducibility study of the jig: planned, and analysed from runs or a table.

mod shown;
mod table;

use super::records::{Records, failed, tell};
use super::run_set::RunSet;
use super::{Exit, Failure, Format, print, show, write_beside};
use crate::record::index::{Answers, Known};
use crate::report;
use crate::study::gauge::{Gauge, Reading, Sample, planned, rows};
use crate::study::{Series, gathered};
use anyhow::anyhow;
use clap::{Args, ValueEnum};
use serde_json::json;
use std::path::PathBuf;

const EXAMPLES: &str = "\
Examples:
  railproof gauge --plan --units SM-0001,SM-0002,SM-0003 --appraisers Ada,Ben --repeats 3 > turns.csv
  railproof gauge plan=gauge,from=2026-11-02 --by operator --html jig.html
  railproof gauge --from readings.csv

With --plan it prints whose turn it is, in a random order; run each turn with `railproof run … --serial UNIT --operator
APPRAISER`. Then name these runs. A table has columns unit, appraiser and value, and if known measurand, unit_of_value, lower,
upper, reference. Ends with 1 where the jig takes more than 30 % of a tolerance, with 3 where something could not be studied.";

/// Above this share of the tolerance a jig cannot tell good from bad (Measurement Systems Analysis, AIAG).
const SHARE_MAX: f64 = 0.3;

/// Which runs, and how they are studied.
#[derive(Args)]
#[command(after_long_help = EXAMPLES)]
pub struct GaugeArgs {
    /// The runs of the study: what is true of them, such as plan=gauge,from=2026-11-02
    #[arg(value_name = "SET", value_parser = RunSet::parse, conflicts_with_all = ["from", "plan"])]
    set: Option<RunSet>,
    /// Study the readings of a table (CSV) instead
    #[arg(long, value_name = "FILE", conflicts_with = "plan")]
    from: Option<PathBuf>,
    /// Who or what measured the units of the runs
    #[arg(long, value_enum, default_value = "operator")]
    by: By,
    /// Each unit was measured by one appraiser alone
    #[arg(long)]
    nested: bool,
    /// Print the order of a study instead
    #[arg(long, requires_all = ["units", "appraisers"])]
    plan: bool,
    /// Serial numbers of the units of the plan
    #[arg(long, value_name = "SN,…", value_delimiter = ',', requires = "plan")]
    units: Vec<String>,
    /// Appraisers of the plan: operators or benches
    #[arg(long, value_name = "NAME,…", value_delimiter = ',', requires = "plan")]
    appraisers: Vec<String>,
    /// How often each appraiser measures each unit
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u32).range(2..=100))]
    repeats: u32,
    /// Decides the order
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Write a page
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    #[command(flatten)]
    records: Records,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Who or what measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum By {
    /// Operators
    Operator,
    /// Benches with their jigs
    Bench,
}

/// Plans or analyses a study.
pub fn gauge(args: &GaugeArgs) -> Result<Exit, Failure> {
    if args.plan {
        return plan(args);
    }
    let study = match (&args.from, &args.set) {
        (Some(path), _) => {
            let (rows, refused) = rows(table::samples(path)?, args.nested);
            Gauge { name: path.display().to_string(), simulated: false, rows, refused }
        }
        (None, Some(set)) => of_runs(args, set)?,
        (None, None) => {
            let why = "name the runs of the study, such as `plan=gauge`, or a table with --from; or --plan one";
            return Err(Failure::new(Exit::Usage, anyhow!(why)));
        }
    };
    if let Some(path) = &args.html {
        write_beside(path, &report::gauge_html(&study))?;
    }
    print(&match args.format {
        Format::Text => report::gauge(&study, show::terminal_width()),
        Format::Json => format!("{:#}\n", shown::as_json(&study)),
    })?;
    let fails = study
        .rows
        .iter()
        .any(|row| row.anova.spread.of_tolerance(&row.quantity, row.mean).is_some_and(|share| share > SHARE_MAX));
    Ok(if fails {
        Exit::DoesNotConform
    } else if study.rows.is_empty() || !study.refused.is_empty() {
        Exit::Undecided
    } else {
        Exit::Done
    })
}

fn plan(args: &GaugeArgs) -> Result<Exit, Failure> {
    let name = |names: &[String]| names.iter().map(|name| name.trim().to_owned()).collect::<Vec<String>>();
    let (units, appraisers) = (name(&args.units), name(&args.appraisers));
    for (what, names, least) in [("unit", &units, 2), ("appraiser", &appraisers, 1)] {
        let mut known = names.clone();
        known.sort();
        known.dedup();
        if known.len() != names.len() || names.len() < least || names.iter().any(String::is_empty) {
            let why = format!("a study takes {least} or more {what}s, each named once");
            return Err(Failure::new(Exit::Usage, anyhow!(why)));
        }
    }
    let turns = planned(&units, &appraisers, args.repeats as usize, args.seed);
    print(&match args.format {
        Format::Text => {
            let lines = turns.iter().enumerate();
            let lines = lines.map(|(at, turn)| format!("{},{},{},{}\n", at + 1, turn.round, turn.unit, turn.appraiser));
            format!("turn,round,unit,appraiser\n{}", lines.collect::<String>())
        }
        Format::Json => {
            let turns = turns.iter();
            let turns =
                turns.map(|turn| json!({ "round": turn.round, "unit": turn.unit, "appraiser": turn.appraiser }));
            format!("{:#}\n", json!({ "seed": args.seed, "turns": turns.collect::<Vec<_>>() }))
        }
    })?;
    Ok(Exit::Done)
}

fn of_runs(args: &GaugeArgs, set: &RunSet) -> Result<Gauge, Failure> {
    let mut index = args.records.index()?;
    let columns = index.columns(&set.wanted(None)).map_err(failed)?;
    tell(&mut index);
    let gathered =
        gathered(&columns, |_| true).map_err(|why| Failure::new(Exit::BadInput, anyhow!("{}: {why}", set.text)))?;
    if gathered.runs == 0 {
        let place = args.records.results.display();
        return Err(Failure::new(
            Exit::BadInput,
            anyhow!("no run that proves anything is `{}` below {place}", set.text),
        ));
    }
    let appraiser = |run: &Known| match args.by {
        By::Operator => run.operator.clone().unwrap_or_else(|| "not known".into()),
        By::Bench => run.bench.clone().unwrap_or_else(|| run.jig.clone()),
    };
    let sample = |series: Series| {
        let readings = series.values.iter().zip(&series.runs).map(|(observed, place)| Reading {
            unit: observed.serial.clone(),
            appraiser: appraiser(&columns.runs[*place]),
            value: observed.value,
            reference: None,
        });
        Sample { readings: readings.collect(), quantity: series.quantity }
    };
    let (rows, mut refused) = rows(gathered.series.into_iter().map(sample).collect(), args.nested);
    refused.extend(gathered.refused);
    Ok(Gauge { name: set.text.clone(), simulated: gathered.simulated, rows, refused })
}
