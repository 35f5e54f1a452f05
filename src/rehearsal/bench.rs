//! One unit after the other on a simulated bench in process: the way of an ordinary run, but for the record.

use super::lot::LotUnit;
use crate::capture::{Action, CaptureSink, Mark, Part};
use crate::clock::WallTime;
use crate::decide::Decision;
use crate::event::{CheckOutcome, Event, RunOutcome, Watcher};
use crate::measure::Setup;
use crate::plan::{Check, Plan};
use crate::run::{self, Answering, Bench, Evidence, Job, Protection};
use crate::sim::{self, CheckWiring, World, WorldSettings};
use crate::study::rehearse::{PlannedCheck, Rehearsed, ToldCheck};
use crate::unit::Unit;
use std::sync::atomic::AtomicBool;

/// Carries out a plan on units of a lot.
#[derive(Debug)]
pub struct Rehearser<'a> {
    /// The plan, fitted to unit and jig.
    pub plan: &'a Plan,
    /// The model of unit.
    pub unit: &'a Unit,
    /// Numbers of both for measuring.
    pub setup: Setup,
    /// Limits that stop a run.
    pub protection: Protection,
    /// How the bench is wired for its own check.
    pub wiring: CheckWiring,
}

impl Rehearser<'_> {
    /// The run of one unit.
    pub fn run(&self, unit: &LotUnit, interrupted: &AtomicBool) -> RunOutcome {
        let world = WorldSettings { wiring: self.wiring.clone(), ..unit.world.clone() };
        let (clock, mut port, mut jig) = sim::bench(World::new(&world), WallTime::UNIX_EPOCH);
        let mut bench = Bench { clock: &clock, port: &mut port, jig: &mut jig, unit: self.unit };
        let Self { plan, setup, protection, .. } = self;
        let job = Job { plan, setup, protection, serial: &unit.world.serial, interrupted };
        run::run(&job, &mut bench, &mut Answering::new(Vec::new(), true), &mut NotKept, &mut Unwatched)
    }

    /// What came of one unit.
    pub fn rehearse(&self, unit: &LotUnit, interrupted: &AtomicBool) -> Rehearsed {
        let outcome = self.run(unit, interrupted);
        Rehearsed {
            number: unit.number,
            seed: unit.world.seed,
            sample: unit.sample,
            faults: unit.inflicted(),
            truth: unit.truth,
            decision: outcome.decision.into(),
            checks: outcome.checks.iter().map(told).collect(),
        }
    }
}

fn told(check: &CheckOutcome) -> ToldCheck {
    let reasons =
        check.requirements.iter().filter(|one| one.decision == check.decision && one.decision != Decision::Conforms);
    ToldCheck {
        decision: check.decision.into(),
        ms: (1e3 * (check.ended_s - check.began_s)).round() as u32,
        because: reasons.map(|one| one.requirement as u16).collect(),
    }
}

/// The checks of a plan as a rehearsal states them.
pub fn planned_checks(plan: &Plan) -> Vec<PlannedCheck> {
    let last = plan.checks.len().saturating_sub(1);
    let planned = |(number, check): (usize, &Check)| PlannedCheck {
        name: check.name.clone(),
        requirements: check.requirements.iter().map(|required| required.measurand.name.to_owned()).collect(),
        needed: number < last
            && check.moves.iter().any(|one| matches!(one.action, Action::Power { .. } | Action::Pack { .. })),
    };
    plan.checks.iter().enumerate().map(planned).collect()
}

/// What is measured as it comes need not be kept.
struct NotKept;

impl CaptureSink for NotKept {
    fn part(&mut self, _: &Part) {}

    fn mark(&mut self, _: &Mark) {}
}

impl Evidence for NotKept {
    fn secure(&mut self) -> Result<(), String> {
        Ok(())
    }
}

/// Nobody looks.
struct Unwatched;

impl Watcher for Unwatched {
    fn see(&mut self, _: &Event<'_>) {}
}
