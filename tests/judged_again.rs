//! Capture once, derive for ever: a stored run that is measured and decided again gives the same outcome, to the last bit.

mod common;
#[path = "common/kept.rs"]
mod kept;

use common::Simulated;
use kept::Kept;
use railproof::capture::file::{CaptureReader, CaptureWriter};
use railproof::run::Assessor;
use railproof::sim::{Fault, WorldSettings};

fn again(plan: &str, faults: &[&str]) {
    let simulated = Simulated::shipped(plan);
    let faults = faults.iter().map(|name| Fault::parse(name).unwrap()).collect();
    let world = WorldSettings { seed: 11, faults, ..WorldSettings::default() };
    let mut kept = Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).unwrap());
    let outcome = simulated.run(&world, &mut kept);
    let file = kept.0.finish().unwrap();

    let mut assessor = Assessor::new(&simulated.plan, simulated.setup.clone());
    CaptureReader::open(&file[..]).unwrap().replay(&mut assessor).unwrap();
    let (checks, reports, traces) = assessor.finish("the run was broken off");
    assert_eq!(checks.len(), outcome.checks.len());
    for (again, before) in checks.iter().zip(&outcome.checks) {
        assert_eq!(again, before, "{}", simulated.plan.checks[before.check].name);
    }
    assert_eq!((reports, traces), (outcome.reports, outcome.traces));
}

#[test]
fn a_healthy_run() {
    again("outgoing", &[]);
}

#[test]
fn a_run_with_faults() {
    again("outgoing", &["jittery-firmware", "loose-belt:0.5"]);
    again("returned", &["worn-pulley"]);
}
