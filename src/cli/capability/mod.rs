//! `railproof capability`: yield, capability and drift of the line.

mod shown;
mod table;

use super::compare::given;
use super::records::{Anywhere, failed, tell};
use super::run_set::RunSet;
use super::{Exit, Failure, Format, print, show, write_beside};
use crate::record::index::{Answers, Columns, Known, Wanted};
use crate::report;
use crate::study::capability::{Capability, Sample, Settings, Yields, first_runs, rows};
use crate::study::compare::Given;
use crate::study::{Series, gathered};
use anyhow::anyhow;
use clap::Args;
use std::path::PathBuf;

const EXAMPLES: &str = "\
Examples:
  railproof capability plan=outgoing --by firmware
  railproof capability plan=outgoing,from=2026-11-01 --by part=belt --html line.html
  railproof capability --from measured.csv --lower 8 --upper 20

A set is what is true of its runs, parted by commas: model=, firmware=, plan=, revision=, serial=, bench=, operator=,
part=NAME=LOT, from=YYYY-MM-DD, to=YYYY-MM-DD. A table has a column value, and if known measurand, unit, lower, upper,
uncertainty, group, subgroup; rows are in the order of time.";

/// Which runs, and how they are studied.
#[derive(Args)]
#[command(after_long_help = EXAMPLES)]
pub struct CapabilityArgs {
    /// The runs: what is true of them, such as plan=outgoing,from=2026-11-01; all runs without it
    #[arg(value_name = "SET", value_parser = RunSet::parse, conflicts_with = "from")]
    set: Option<RunSet>,
    /// Study the values of a table (CSV) instead
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    /// Lower tolerance limit of a table's values
    #[arg(long, value_name = "NUMBER", requires = "from", allow_negative_numbers = true)]
    lower: Option<f64>,
    /// Upper tolerance limit of a table's values
    #[arg(long, value_name = "NUMBER", requires = "from", allow_negative_numbers = true)]
    upper: Option<f64>,
    /// Set groups against each other: firmware, plan, bench, operator, or part=NAME for its lots
    #[arg(long, value_name = "WHAT", value_parser = By::parse, conflicts_with = "from")]
    by: Option<By>,
    /// Spread of the jig by a study of it, as MEASURAND=VALUE, instead of the values' own uncertainties; may be repeated
    #[arg(long, value_name = "MEASURAND=VALUE", value_parser = given)]
    jig_spread: Vec<Given>,
    /// Write a page with charts
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    #[command(flatten)]
    records: Anywhere,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// By what groups are formed.
#[derive(Debug, Clone)]
enum By {
    Firmware,
    Plan,
    Bench,
    Operator,
    Part(String),
}

impl By {
    fn parse(text: &str) -> Result<Self, String> {
        Ok(match text.trim() {
            "firmware" => Self::Firmware,
            "plan" => Self::Plan,
            "bench" => Self::Bench,
            "operator" => Self::Operator,
            other => match other.strip_prefix("part=").map(str::trim).filter(|name| !name.is_empty()) {
                Some(part) => Self::Part(part.to_owned()),
                None => return Err("write firmware, plan, bench, operator, or part=NAME".into()),
            },
        })
    }

    fn words(&self) -> String {
        match self {
            Self::Firmware => "firmware".into(),
            Self::Plan => "plan".into(),
            Self::Bench => "bench".into(),
            Self::Operator => "operator".into(),
            Self::Part(part) => format!("lot of {part}"),
        }
    }

    fn of(&self, run: &Known) -> String {
        let named = |name: &Option<String>| name.clone().unwrap_or_else(|| "not known".into());
        match self {
            Self::Firmware => named(&run.firmware),
            Self::Plan => format!("{} {}", run.plan, run.revision),
            Self::Bench => run.bench.clone().unwrap_or_else(|| run.jig.clone()),
            Self::Operator => named(&run.operator),
            Self::Part(part) => {
                let lot = run.parts.iter().find(|carried| carried.name == *part);
                lot.map_or_else(|| "not known".into(), |carried| carried.lot.clone())
            }
        }
    }
}

/// Studies the line. There is no decision in it: it ends with 0 where something could be studied, else with 3.
pub fn capability(args: &CapabilityArgs) -> Result<Exit, Failure> {
    let settings = Settings { jig: args.jig_spread.clone(), ..Settings::default() };
    let study = match &args.from {
        Some(path) => {
            let (rows, refused) = rows(table::samples(path, args.lower, args.upper)?, &settings);
            let name = path.display().to_string();
            Capability {
                name,
                simulated: false,
                settings,
                yields: None,
                rows,
                refused,
                told: Vec::new(),
                by: Some("group".into()),
            }
        }
        None => of_runs(args, settings)?,
    };
    if let Some(path) = &args.html {
        write_beside(path, &report::capability_html(&study))?;
    }
    print(&match args.format {
        Format::Text => report::capability(&study, show::terminal_width()),
        Format::Json => format!("{:#}\n", shown::as_json(&study)),
    })?;
    Ok(if study.rows.is_empty() { Exit::Undecided } else { Exit::Done })
}

fn of_runs(args: &CapabilityArgs, settings: Settings) -> Result<Capability, Failure> {
    let wanted = args.set.as_ref().map_or_else(Wanted::default, |set| set.wanted(None));
    let name = args.set.as_ref().map_or("all runs", |set| &set.text).to_owned();
    let mut source = args.records.source()?;
    let columns = source.columns(&wanted).map_err(failed)?;
    tell(&mut source);
    let mut first = vec![false; columns.runs.len()];
    first_runs(&columns.runs).into_iter().for_each(|place| first[place] = true);
    let is_first = |run: &Known| {
        let place = columns.runs.binary_search_by(|one| (one.started, &one.id).cmp(&(run.started, &run.id)));
        place.is_ok_and(|place| first[place])
    };
    let gathered =
        gathered(&columns, is_first).map_err(|why| Failure::new(Exit::BadInput, anyhow!("{name}: {why}")))?;
    if gathered.runs == 0 {
        let place = source.place();
        return Err(Failure::new(Exit::BadInput, anyhow!("no run that proves anything is `{name}` {place}")));
    }
    let samples = gathered.series.into_iter().map(|series| sample(series, &columns, args.by.as_ref())).collect();
    let (rows, mut refused) = rows(samples, &settings);
    refused.extend(gathered.refused);
    Ok(Capability {
        name,
        simulated: gathered.simulated,
        yields: Some(Yields::of(&columns, settings.confidence)),
        settings,
        rows,
        refused,
        told: Vec::new(),
        by: args.by.as_ref().map(By::words),
    })
}

fn sample(series: Series, columns: &Columns, by: Option<&By>) -> Sample {
    let run = |place: &usize| &columns.runs[*place];
    Sample {
        moments: series.runs.iter().map(|place| run(place).started.date().to_string()).collect(),
        groups: by.map_or_else(Vec::new, |by| series.runs.iter().map(|place| by.of(run(place))).collect()),
        values: series.values.iter().map(|observed| observed.value).collect(),
        doubts: series.doubts,
        subgroups: Vec::new(),
        quantity: series.quantity,
    }
}
