//! Units on a serial link that flips bits: a healthy one conforms or its run is invalid, a faulty one never conforms.

mod common;
#[path = "common/cores.rs"]
mod cores;
#[path = "common/counted.rs"]
mod counted;

use common::Simulated;
use cores::on_all_cores;
use counted::Counted;
use railproof::decide::Decision;
use railproof::sim::{Fault, FaultKind, WorldSettings};
use std::collections::BTreeMap;

/// Runs at each rate and of each unit, unless `RAILPROOF_DRAWS` says how many.
const RUNS: u64 = 20;
/// Probability that a byte is garbled where `garbled-link` is at its worst.
const WORST: f64 = 0.02;

/// How often each decision was taken. What was found is printed where a healthy unit did not conform.
fn decisions(bit_errors: f64, fault: Option<FaultKind>) -> BTreeMap<Decision, usize> {
    let runs = std::env::var("RAILPROOF_DRAWS").ok().map_or(RUNS, |text| text.parse().expect("a number of runs"));
    // Ten bits a character: start, eight, stop.
    let garbled = Fault::parse(&format!("garbled-link:{}", 10.0 * bit_errors / WORST)).expect("a severity");
    let faults: Vec<Fault> = std::iter::once(garbled).chain(fault.map(Fault::worst)).collect();
    let decided = on_all_cores(1..=runs, || {
        let simulated = Simulated::shipped("outgoing");
        let faults = faults.clone();
        move |seed| {
            let world = WorldSettings { seed, faults: faults.clone(), ..WorldSettings::default() };
            let outcome = simulated.run(&world, &mut Counted::default());
            if fault.is_none() && !matches!(outcome.decision, Decision::Conforms | Decision::Invalid) {
                let findings: Vec<_> = outcome.checks.iter().flat_map(|check| &check.findings).collect();
                println!("seed {seed}: {}: {findings:?}", outcome.decision.words());
            }
            outcome.decision
        }
    });
    let mut counts = BTreeMap::new();
    decided.into_iter().for_each(|decision| *counts.entry(decision).or_insert(0) += 1);
    counts
}

#[test]
fn noise_on_the_link_never_decides_about_a_unit() {
    for bit_errors in [1e-4, 1e-3] {
        let healthy = decisions(bit_errors, None);
        println!("bit errors {bit_errors}: healthy {healthy:?}");
        assert!(
            healthy.keys().all(|decision| matches!(decision, Decision::Conforms | Decision::Invalid)),
            "{healthy:?}"
        );
    }
}

#[test]
fn noise_on_the_link_never_passes_a_unit() {
    for bit_errors in [1e-4, 1e-3] {
        for fault in [FaultKind::LooseBelt, FaultKind::DeadEndStopRight, FaultKind::WeakPack] {
            let faulty = decisions(bit_errors, Some(fault));
            println!("bit errors {bit_errors}: {} {faulty:?}", fault.name());
            assert!(!faulty.contains_key(&Decision::Conforms), "{faulty:?}");
        }
    }
}
