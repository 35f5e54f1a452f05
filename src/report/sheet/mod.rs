//! The sheet that goes with a unit: a test certificate where it conforms, a nonconformity sheet where it does not.
//!
//! What a sheet says is settled once, in [`content`]; [`html`] and [`pdf`] only set it. Both come out with the same bytes
//! whenever they are made from the same record.

mod claim;
mod content;
mod html;
mod pdf;
mod phrases;

pub use claim::ClaimSheet;
pub use pdf::SheetError;

use super::plot::Plot;
use crate::record::Record;
use crate::record::stored::Verdict;

/// Which of the two sheets a run deserves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The run conforms.
    Certificate,
    /// Anything else.
    Nonconformity,
}

impl Kind {
    /// Name of its files, without the ending.
    pub const fn file_stem(self) -> &'static str {
        match self {
            Self::Certificate => "certificate",
            Self::Nonconformity => "nonconformity",
        }
    }
}

/// The kind of sheet for a record: a certificate only where every requirement conforms.
pub fn kind(record: &Record) -> Kind {
    if record.decision == Verdict::Conforms { Kind::Certificate } else { Kind::Nonconformity }
}

/// The sheet of the record's kind as one HTML file that needs nothing else. `digest` is the SHA-256 of `record.json`.
pub fn sheet_html(record: &Record, digest: &str) -> String {
    html::page(&content::sheet(record, digest))
}

/// The sheet of the record's kind as PDF/A-2a with the tags of PDF/UA-1. `digest` is the SHA-256 of `record.json`.
///
/// # Errors
/// Where the PDF's own check finds a violation; the text names it.
pub fn sheet_pdf(record: &Record, digest: &str) -> Result<Vec<u8>, SheetError> {
    pdf::document(&content::sheet(record, digest))
}

/// A run in brief, safe to show: what it came to, and where to look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Brief {
    pub verdict: Verdict,
    pub headline: &'static str,
    pub statement: String,
    /// Where the run was simulated, what that means.
    pub simulated: Option<&'static str>,
    /// Why the run is invalid.
    pub reasons: Vec<String>,
    /// What is not proven to conform, the worst first.
    pub failures: Vec<Failure>,
}

/// A record in brief.
pub fn brief(record: &Record) -> Brief {
    content::brief(record)
}

/// All that a sheet says, safe to show.
#[derive(Debug)]
struct Sheet {
    verdict: Verdict,
    title: &'static str,
    maker: String,
    model: String,
    serial: String,
    headline: &'static str,
    statement: String,
    /// Where the run was simulated, what that means; stands on every page.
    simulated: Option<&'static str>,
    /// Which calibrations were past their due date, and why the run was carried out all the same.
    overdue: Vec<String>,
    /// Why the run is invalid.
    reasons: Vec<String>,
    facts: Vec<Fact>,
    failures: Vec<Failure>,
    rule: String,
    groups: Vec<Group>,
    /// What a claim compares, in place of a run's results.
    comparison: Vec<Compared>,
    plots: Vec<Plot>,
    calibrations: Vec<[String; 3]>,
    notes: Vec<String>,
    cautions: &'static [(&'static str, &'static str)],
    /// End of the run, for the PDF's own date; `None` where the record's is no date.
    ended: Option<time::OffsetDateTime>,
    run_id: String,
    digest: String,
}

/// A name and what it is.
#[derive(Debug)]
struct Fact {
    name: &'static str,
    value: String,
    /// Whether it takes a line of its own.
    is_wide: bool,
}

/// A check that is not proven to conform.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    pub check: String,
    pub verdict: Verdict,
    /// Whether its moves were carried out at all.
    pub was_carried_out: bool,
    pub points: Vec<Point>,
    pub findings: Vec<String>,
    pub look_first: Vec<String>,
}

/// A requirement of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Point {
    pub name: String,
    pub verdict: Verdict,
    /// Its value, what is wrong with it, and what is required.
    pub says: String,
}

/// A check with all its requirements.
#[derive(Debug)]
struct Group {
    name: String,
    because: Option<String>,
    verdict: Verdict,
    /// Findings, and why it was not carried out.
    remarks: Vec<String>,
    rows: Vec<Row>,
}

/// A requirement as it came out.
#[derive(Debug)]
struct Row {
    name: String,
    /// The tolerance as written, and which reading is shown.
    note: String,
    value: String,
    /// Coverage factor: `k = 2.00`; empty for an exact count.
    coverage: String,
    limits: String,
    margin: String,
    scale: Option<String>,
    verdict: Verdict,
}

/// A value of two runs, side by side.
#[derive(Debug)]
struct Compared {
    name: String,
    /// Its phase and checks, and of how many readings it is the mean.
    note: String,
    shipped: String,
    now: String,
    change: String,
    e_n: String,
    /// Whether it is one of those that wear.
    wears: bool,
    told: &'static str,
    /// How the finding is marked.
    verdict: Verdict,
}
