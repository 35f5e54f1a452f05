//! One simulated bench in process, without files: for tests and benchmarks.

use railproof::event::{Event, RunOutcome, Watcher};
use railproof::jig::JigFile;
use railproof::measure::Setup;
use railproof::plan::{Draft, Plan};
use railproof::run::{self, Answering, Bench, Evidence, Job, Protection};
use railproof::sim::{self, World, WorldSettings};
use railproof::unit::Unit;
use railproof::written::Source;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

/// A path inside the project.
pub fn project(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn source(path: &str) -> Source {
    let text = std::fs::read_to_string(project(path)).unwrap_or_else(|error| panic!("{path}: {error}"));
    Source::new(path, text)
}

/// A plan with the unit and the jig that it fits.
pub struct Simulated {
    pub plan: Plan,
    pub unit: Unit,
    pub setup: Setup,
    pub protection: Protection,
}

impl Simulated {
    /// A shipped plan for the Dunlin 600 on the simulated jig.
    pub fn shipped(plan: &str) -> Self {
        Self::of(&source(&format!("test-plans/{plan}.yaml")))
    }

    /// Any plan for the Dunlin 600 on the simulated jig.
    pub fn of(plan: &Source) -> Self {
        let shown = |problems: Vec<railproof::written::Problem>| -> ! { panic!("{}", problems[0]) };
        let unit = Unit::read(&source("fixtures/units/dunlin-600.yaml")).unwrap_or_else(|problems| shown(problems));
        let jig = JigFile::read(&source("fixtures/jigs/simulated.yaml")).unwrap_or_else(|problems| shown(problems));
        let draft = Draft::read(plan).unwrap_or_else(|problems| shown(problems));
        let plan = draft.fit(&run::envelope(&unit, &jig)).unwrap_or_else(|problems| shown(problems));
        let (setup, protection) = (run::setup(&unit, &jig), run::protection(&unit, &jig));
        Self { plan, unit, setup, protection }
    }

    /// Runs the plan on a world, keeping the evidence in `evidence`.
    pub fn run(&self, world: &WorldSettings, evidence: &mut dyn Evidence) -> RunOutcome {
        self.run_until(world, evidence, &AtomicBool::new(false), &mut Unwatched)
    }

    /// The same, watched, and broken off when `interrupted` is set.
    pub fn run_until(
        &self,
        world: &WorldSettings,
        evidence: &mut dyn Evidence,
        interrupted: &AtomicBool,
        watcher: &mut dyn Watcher,
    ) -> RunOutcome {
        let began = time::OffsetDateTime::UNIX_EPOCH;
        let (clock, mut port, mut jig) = sim::bench(World::new(world), began);
        let mut bench = Bench { clock: &clock, port: &mut port, jig: &mut jig, unit: &self.unit };
        self.run_on(&mut bench, &world.serial, evidence, interrupted, watcher)
    }

    /// The same on any bench.
    pub fn run_on(
        &self,
        bench: &mut Bench<'_>,
        serial: &str,
        evidence: &mut dyn Evidence,
        interrupted: &AtomicBool,
        watcher: &mut dyn Watcher,
    ) -> RunOutcome {
        let (plan, setup, protection) = (&self.plan, &self.setup, &self.protection);
        let job = Job { plan, setup, protection, serial, interrupted };
        run::run(&job, bench, &mut Answering::new(Vec::new(), true), evidence, watcher)
    }
}

/// Nobody looks.
pub struct Unwatched;

impl Watcher for Unwatched {
    fn see(&mut self, _: &Event<'_>) {}
}
