//! `railproof export`: a fleet's records as columns for other engines, or the captures of one run for other viewers.

mod captures;

use super::query::Query;
use super::records::{Records, failed, tell};
use super::{Exit, Failure, Format, print, say};
use crate::record::export::{ExportError, Exported, Form, export as write};
use captures::{CaptureForm, captures};
use clap::{Args, ValueEnum};
use serde_json::json;
use std::path::PathBuf;

/// So many records without histograms are told one by one.
const TOLD_MAX: usize = 20;

const EXAMPLES: &str = "\
Examples:
  railproof export --into fleet
  railproof export results/SM-0001/ID --captures vcd --into run.vcd
  railproof export --into fleet --from 2026-11-01 --to 2026-11-30 --model dunlin-600
  duckdb -c \"SELECT measurand, avg(value), unit FROM 'fleet/values/**/*.parquet' GROUP BY measurand, unit\"";

/// What to export, and where to.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct ExportArgs {
    /// Folder of one run, to export its captures alone
    #[arg(value_name = "RUN", requires = "captures", conflicts_with_all = ["form", "Query"])]
    run: Option<PathBuf>,
    /// Form of the captures
    #[arg(long, value_enum, requires = "run", value_name = "FORM")]
    captures: Option<CaptureForm>,
    /// Folder of the export, or file of the captures. Of an export that is there, the months and models that are asked for are replaced
    #[arg(long, value_name = "PLACE")]
    into: PathBuf,
    /// Form of the files
    #[arg(long = "as", value_enum, default_value = "parquet")]
    form: Form,
    #[command(flatten)]
    records: Records,
    #[command(flatten)]
    query: Query,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl ValueEnum for Form {
    fn value_variants<'a>() -> &'a [Self] {
        &[Self::Parquet, Self::Csv]
    }

    fn to_possible_value(&self) -> Option<clap::builder::PossibleValue> {
        Some(match self {
            Self::Parquet => clap::builder::PossibleValue::new("parquet").help("Apache Parquet, compressed with zstd"),
            Self::Csv => clap::builder::PossibleValue::new("csv").help("Tables of text (RFC 4180)"),
        })
    }
}

/// Exports the runs of which something is found, or the captures of one.
pub fn export(args: &ExportArgs) -> Result<Exit, Failure> {
    match (&args.run, args.captures) {
        (Some(run), Some(form)) => captures(args, run, form),
        _ => fleet(args),
    }
}

fn fleet(args: &ExportArgs) -> Result<Exit, Failure> {
    let mut index = args.records.index()?;
    let exported = write(&mut index, &args.records.results, &args.query.wanted(), &args.into, args.form);
    tell(&mut index);
    let exported = exported.map_err(|error| match error {
        ExportError::Index(error) => failed(error),
        other => Failure::new(Exit::BadInput, other),
    })?;
    let Some(exported) = exported else {
        args.query.tell_unknown(&mut index)?;
        say("railproof: no run was found, and nothing was exported");
        print(&match args.format {
            Format::Text => String::new(),
            Format::Json => format!("{:#}\n", json!({ "into": null, "rows": {} })),
        })?;
        return Ok(Exit::Done);
    };
    for told in exported.without_steps.iter().take(TOLD_MAX) {
        say(&format!("railproof: no step histograms of {told}"));
    }
    if exported.without_steps.len() > TOLD_MAX {
        say(&format!("railproof: nor of {} more", exported.without_steps.len() - TOLD_MAX));
    }
    print(&match args.format {
        Format::Text => text(args, &exported),
        Format::Json => format!(
            "{:#}\n",
            json!({
                "into": args.into,
                "rows": exported.rows,
                "partitions": exported.placed.partitions,
                "replaced": exported.placed.replaced,
                "kept": exported.placed.kept,
                "without_step_histograms": exported.without_steps.len(),
            })
        ),
    })?;
    Ok(Exit::Done)
}

fn text(args: &ExportArgs, exported: &Exported) -> String {
    let rows = exported.rows.iter().map(|(table, rows)| format!("  {table:<16}{rows:>12} rows\n"));
    let placed = &exported.placed;
    let partitions = match placed.partitions {
        1 => "1 partition by model and month".to_owned(),
        more => format!("{more} partitions by model and month"),
    };
    let earlier = match (placed.replaced, placed.kept) {
        (0, 0) => String::new(),
        (replaced, kept) => format!("; of those that were there {replaced} replaced, {kept} kept"),
    };
    format!("{}: {partitions}{earlier}\n{}", args.into.display(), rows.collect::<String>())
}
