//! What the screen cannot know by itself, and is handed: the benches, the plans, and how a run is carried out.

use crate::event::Watcher;
use crate::record::Record;
use crate::run::Operator;
use std::path::Path;
use std::sync::atomic::AtomicBool;

/// A bench as the screen shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchInfo {
    /// What people call it.
    pub name: String,
    /// The jig's name.
    pub jig: String,
    /// Whether its world is simulated.
    pub is_simulated: bool,
}

/// A plan that can be chosen at a bench.
#[derive(Debug, Clone, PartialEq)]
pub struct PlanInfo {
    pub name: String,
    pub revision: u32,
    pub checks: usize,
    /// How long it should take, s.
    pub expected_s: f64,
    /// What has to be so before anything moves.
    pub before: Vec<String>,
    /// Calibrations that are past their due date, in words; a run then needs a reason.
    pub overdue: Vec<String>,
}

/// What is to be run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    /// Number of the bench.
    pub bench: usize,
    /// Number of the plan.
    pub plan: usize,
    pub serial: String,
    /// Who is at the bench.
    pub operator: Option<String>,
    /// What was confirmed, one by one.
    pub confirmed: Vec<String>,
    /// Why the run is carried out on a jig past its calibration.
    pub overdue_because: Option<String>,
}

/// Who attends a run.
pub struct Attending<'a> {
    pub operator: Box<dyn Operator + 'a>,
    pub watcher: &'a mut (dyn Watcher + 'a),
    /// Set to break the run off.
    pub interrupted: &'a AtomicBool,
}

/// The benches. Whatever goes wrong is told in words for whoever stands before the screen.
pub trait Workshop: Send + Sync + 'static {
    /// Who makes the units, and what they are called.
    fn maker_and_model(&self) -> (String, String);
    /// Usable travel of the unit, m.
    fn travel(&self) -> f64;
    /// The benches.
    fn benches(&self) -> &[BenchInfo];
    /// The plans of a bench, as their files are now. One that is wrong is told in its place.
    fn plans(&self, bench: usize) -> Vec<Result<PlanInfo, String>>;
    /// Whether a text is a serial number of this model.
    ///
    /// # Errors
    /// Why not.
    fn check_serial(&self, serial: &str) -> Result<(), String>;
    /// Carries out a plan and keeps the record.
    ///
    /// # Errors
    /// Why there is no record.
    fn carry_out(&self, order: &Order, attending: Attending<'_>) -> Result<Record, String>;
    /// Who is at the bench unless they say otherwise.
    fn operator(&self) -> Option<&str>;
    /// Answers to the operator's questions that were prepared, by a piece of the question.
    fn answers(&self) -> &[(String, String)];
    /// Folder of the records.
    fn results(&self) -> &Path;
}
