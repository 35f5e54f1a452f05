//! A fleet's records as columns: files that other engines open as they are, for what outgrows one machine.
//!
//! Each table is a folder, and below it folders by model, year and month as Hive has them. What is exported is what the
//! index knows of the runs, so that figures agree with those of every other command, and the step histograms of their
//! records. Runs pass through: what is held is a fixed number of rows, and of each run as much as names it.

mod csv;
mod fleet;
mod parquet;
mod partition;
mod sheet;
mod staged;
mod steps;
mod table;
mod tables;
mod writing;

pub use csv::quoted;
pub use partition::Partition;
pub use staged::Placed;

use super::index::Wanted;
use super::{Answers, Index, Unanswered};
use serde::{Deserialize, Serialize};
use staged::Staged;
use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use table::Row;
use tables::{CheckRow, PartRow, Ran, StepRow, ValueRow};
use writing::Writing;

/// Version of the tables and of the list of files.
pub const FORMAT: u32 = 1;
/// The tables.
const TABLES: [&str; 5] = [Ran::TABLE, PartRow::TABLE, CheckRow::TABLE, ValueRow::TABLE, StepRow::TABLE];

/// A form of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Form {
    /// Apache Parquet.
    Parquet,
    /// Tables of text (RFC 4180).
    Csv,
}

impl Form {
    fn ending(self) -> &'static str {
        match self {
            Self::Parquet => "parquet",
            Self::Csv => "csv",
        }
    }
}

/// What was exported.
pub struct Exported {
    /// Rows by table.
    pub rows: BTreeMap<&'static str, u64>,
    pub placed: Placed,
    /// Records whose step histograms are missing, and why.
    pub without_steps: Vec<String>,
}

/// Why an export was not made. What was there before is there still.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    #[error("{} is there and is no export of railproof; name another place with --into", path.display())]
    NoExport { path: PathBuf },
    #[error("{} is of no export; move it away, or name another place with --into", path.display())]
    NotOurs { path: PathBuf },
    #[error(
        "{} is an export of format {format}, and this version writes {FORMAT}; name another place with --into",
        path.display()
    )]
    OtherFormat { path: PathBuf, format: u32 },
    #[error(
        "{} has {is}, and {asked} were asked for; name another place with --into, or remove what is there",
        path.display()
    )]
    OfOthers { path: PathBuf, is: String, asked: String },
    #[error(
        "{} lies in the folder of the records, {}, which holds nothing else; name another place with --into",
        path.display(),
        results.display()
    )]
    AmongRecords { path: PathBuf, results: PathBuf },
    #[error("another export to the same place goes on in {}; wait until it is done", path.display())]
    Busy { path: PathBuf },
    #[error("cannot {doing} {}: {said}; {remedy}", path.display())]
    Disk { doing: &'static str, path: PathBuf, said: io::Error, remedy: &'static str },
    #[error(transparent)]
    Index(#[from] Unanswered),
}

impl ExportError {
    /// What the disk said, with a remedy.
    pub fn disk(doing: &'static str, path: &Path, said: io::Error) -> Self {
        let remedy = match said.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
                "free some space there, or name another place with --into; nothing was exported"
            }
            io::ErrorKind::PermissionDenied => {
                "give yourself the right to write there, or name another place with --into"
            }
            io::ErrorKind::ReadOnlyFilesystem => "name a place on a writable disk with --into",
            _ => "check the disk and the place given with --into; nothing was exported",
        };
        Self::Disk { doing, path: path.to_owned(), said, remedy }
    }
}

/// Exports the runs of which something is found, whole, to a place: every partition that is asked for is replaced. `None`
/// where there are no such runs; then nothing is touched.
///
/// # Errors
/// Something is there that is no such export; what the index or the disk says.
pub fn export(
    index: &mut Index,
    results: &Path,
    wanted: &Wanted,
    to: &Path,
    form: Form,
) -> Result<Option<Exported>, ExportError> {
    let mut staged = Staged::begin(to, results, form, wanted)?;
    let mut writing = Writing::new(&mut staged);
    index.sweep(wanted, &mut writing)?;
    let Some((rows, without_steps)) = writing.finish(results)? else { return Ok(None) };
    Ok(Some(Exported { rows, placed: staged.finish(wanted)?, without_steps }))
}

/// The tables with their columns, as their description for people has them (Markdown).
pub fn description() -> String {
    [
        described::<Ran>(),
        described::<PartRow>(),
        described::<CheckRow>(),
        described::<ValueRow>(),
        described::<StepRow>(),
    ]
    .concat()
}

fn described<R: Row>() -> String {
    let columns = R::COLUMNS.iter().map(|column| {
        let unknown = if column.may_be_unknown { ", or null" } else { "" };
        format!("| `{}` | {}{unknown} | {} |\n", column.name, column.kind.word(), column.says)
    });
    let columns: String = columns.collect();
    format!(
        "## `{}`\n\nA row is {}.\n\n| column | holds | which is |\n| --- | --- | --- |\n{columns}\n",
        R::TABLE,
        R::SAYS
    )
}
