//! The benches that a screen offers: files read anew for each page and run, and runs carried out as `run` does.

use super::paced::Paced;
use crate::cli::bench::Choice;
use crate::cli::key::KeyChoice;
use crate::cli::prepared::Prepared;
use crate::cli::run::{Attended, RunArgs, attended, prepare};
use crate::cli::{Exit, Failure, Format, say};
use crate::clock::{Clock, ComputerClock};
use crate::event::Watcher;
use crate::jig::JigKind;
use crate::plan::Plan;
use crate::record::Record;
use crate::serve::{Attending, BenchInfo, Order, PlanInfo, Workshop};
use crate::unit::Unit;
use anyhow::anyhow;
use std::path::{Path, PathBuf};

/// What the command line says of all benches.
pub struct Kept {
    pub plans: Vec<PathBuf>,
    pub unit: PathBuf,
    pub results: PathBuf,
    pub operator: Option<String>,
    pub answers: Vec<(String, String)>,
    pub scale: f64,
    pub key: KeyChoice,
    pub choice: Choice,
}

/// The benches.
pub struct Shop {
    kept: Kept,
    unit: Unit,
    jigs: Vec<PathBuf>,
    benches: Vec<BenchInfo>,
}

impl Shop {
    /// Reads every file once, so that a mistake is told before anything is served.
    pub fn open(kept: Kept, named: Vec<(String, PathBuf)>) -> Result<Self, Failure> {
        let usage = |why: String| Failure::new(Exit::Usage, anyhow!(why));
        let mut unit = None;
        let mut ports: Vec<(String, String)> = Vec::new();
        let mut benches: Vec<BenchInfo> = Vec::new();
        if named.len() > 1 && kept.choice.names_ports() {
            return Err(usage(
                "several benches have their ports from their jig files; leave out --unit-port and --board-port".into(),
            ));
        }
        for (name, jig) in &named {
            for plan in &kept.plans {
                let read = Prepared::read(plan, &kept.unit, jig)?;
                let name = if name.is_empty() { read.jig.name.clone() } else { name.clone() };
                if benches.iter().all(|known| known.name != name) {
                    let own = [&read.jig.unit_port, &read.jig.board_port].into_iter().flatten().cloned();
                    let own: Vec<String> =
                        own.chain((read.jig.kind == JigKind::RaspberryPi).then(|| "pin header".into())).collect();
                    if let Some((port, other)) = ports.iter().find(|(port, _)| own.contains(port)) {
                        return Err(usage(format!(
                            "the benches `{other}` and `{name}` share {port}; each jig has its own"
                        )));
                    }
                    ports.extend(own.into_iter().map(|port| (port, name.clone())));
                    let (jig, is_simulated) = (read.jig.name.clone(), read.jig.kind == JigKind::Simulated);
                    benches.push(BenchInfo { name, jig, is_simulated });
                }
                unit.get_or_insert(read.unit);
            }
        }
        if benches.len() != named.len() {
            return Err(usage("two benches have the same name; give each its own".into()));
        }
        let unit = unit.ok_or_else(|| usage("there is no bench; give --jig, or --bench".into()))?;
        Ok(Self { kept, unit, jigs: named.into_iter().map(|(_, jig)| jig).collect(), benches })
    }

    fn plan(&self, plan: &Path, jig: &Path) -> Result<PlanInfo, Failure> {
        let Prepared { plan, jig, .. } = Prepared::read(plan, &self.kept.unit, jig)?;
        let overdue = jig.overdue(ComputerClock::new().wall().date()).into_iter();
        Ok(PlanInfo {
            checks: plan.checks.len(),
            expected_s: plan.expected_s(),
            revision: plan.revision,
            name: plan.name,
            before: plan.before,
            overdue: overdue
                .map(|(channel, dates)| format!("the calibration of the jig's `{channel}` was due on {}", dates.due))
                .collect(),
        })
    }

    fn args(&self, order: &Order) -> Option<RunArgs> {
        Some(RunArgs {
            plan: self.kept.plans.get(order.plan)?.clone(),
            unit: self.kept.unit.clone(),
            jig: self.jigs.get(order.bench)?.clone(),
            serial: order.serial.clone(),
            results: self.kept.results.clone(),
            operator: order.operator.clone(),
            parts: Vec::new(),
            parts_file: None,
            answers: Vec::new(),
            confirmed: true,
            overdue_because: order.overdue_because.clone(),
            budget: false,
            format: Format::Text,
            key: self.kept.key.clone(),
            bench: self.kept.choice.clone(),
        })
    }
}

/// What went wrong, in words for the screen; the terminal is told the same.
fn told(failure: &Failure) -> String {
    let why = format!("{:#}", failure.error);
    say(&format!("railproof: {why}"));
    why
}

impl Workshop for Shop {
    fn maker_and_model(&self) -> (String, String) {
        (self.unit.maker.clone(), self.unit.title.clone())
    }

    fn travel(&self) -> f64 {
        self.unit.facts.travel
    }

    fn benches(&self) -> &[BenchInfo] {
        &self.benches
    }

    fn plans(&self, bench: usize) -> Vec<Result<PlanInfo, String>> {
        let Some(jig) = self.jigs.get(bench) else { return Vec::new() };
        self.kept.plans.iter().map(|plan| self.plan(plan, jig).map_err(|failure| told(&failure))).collect()
    }

    fn check_serial(&self, serial: &str) -> Result<(), String> {
        crate::record::check_serial(serial).map_err(|error| error.to_string())?;
        let fits = self.unit.serial_numbers.check(serial);
        fits.map_err(|why| format!("`{serial}` is no serial number of a {}; {why}", self.unit.model))
    }

    fn carry_out(&self, order: &Order, attending: Attending<'_>) -> Result<Record, String> {
        let args = self.args(order).ok_or("there is no such bench or plan")?;
        let prepared = prepare(&args).map_err(|failure| told(&failure))?;
        let is_simulated = prepared.jig.kind == JigKind::Simulated;
        let mut paced = Paced::new(self.kept.scale, attending.watcher);
        let (operator, interrupted) = (attending.operator, attending.interrupted);
        let confirmed = &order.confirmed;
        let operator = move |plan: &Plan, _| {
            let is_so = plan.before.iter().all(|item| confirmed.contains(item));
            let why =
                "the plan asks for more than was confirmed, since its file was changed; begin again; nothing was moved";
            if is_so { Ok(operator) } else { Err(Failure::new(Exit::Usage, anyhow!(why))) }
        };
        // A simulated world waits for nobody; a real one does not have to be held back.
        let watcher: &mut dyn Watcher = if is_simulated { &mut paced } else { paced.watcher() };
        let attending = Attended { operator: Box::new(operator), watcher, interrupted };
        attended(&args, prepared, Vec::new(), attending).map(|done| done.record).map_err(|failure| told(&failure))
    }

    fn operator(&self) -> Option<&str> {
        self.kept.operator.as_deref()
    }

    fn answers(&self) -> &[(String, String)] {
        &self.kept.answers
    }

    fn results(&self) -> &Path {
        &self.kept.results
    }
}
