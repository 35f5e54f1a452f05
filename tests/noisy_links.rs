//! Units on a serial link that flips bits: a healthy one conforms or its run is invalid, a faulty one never conforms.

mod common;
#[path = "common/counted.rs"]
mod counted;

use common::Simulated;
use counted::Counted;
use railproof::decide::Decision;
use railproof::sim::{Fault, FaultKind, WorldSettings};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};

/// Runs at each rate and of each unit, unless `RAILPROOF_DRAWS` says how many.
const RUNS: u64 = 20;
/// Probability that a byte is garbled where `garbled-link` is at its worst.
const WORST: f64 = 0.02;

/// Decisions, and what was found where a healthy unit did not conform.
fn decisions(bit_errors: f64, fault: Option<FaultKind>) -> BTreeMap<Decision, usize> {
    let runs = std::env::var("RAILPROOF_DRAWS").ok().map_or(RUNS, |text| text.parse().expect("a number of runs"));
    // Ten bits a character: start, eight, stop.
    let garbled = Fault::parse(&format!("garbled-link:{}", 10.0 * bit_errors / WORST)).expect("a severity");
    let faults: Vec<Fault> = std::iter::once(garbled).chain(fault.map(Fault::worst)).collect();
    let next = AtomicU64::new(1);
    let worker = || {
        let simulated = Simulated::shipped("outgoing");
        let mut found = BTreeMap::new();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed > runs {
                return found;
            }
            let world = WorldSettings { seed, faults: faults.clone(), ..WorldSettings::default() };
            let outcome = simulated.run(&world, &mut Counted::default());
            if fault.is_none() && !matches!(outcome.decision, Decision::Conforms | Decision::Invalid) {
                let findings: Vec<_> = outcome.checks.iter().flat_map(|check| &check.findings).collect();
                println!("seed {seed}: {}: {findings:?}", outcome.decision.words());
            }
            *found.entry(outcome.decision).or_insert(0) += 1;
        }
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers).map(|_| scope.spawn(worker)).collect();
        let mut all = BTreeMap::new();
        for (decision, count) in threads.into_iter().flat_map(|thread| thread.join().expect("no run panics")) {
            *all.entry(decision).or_insert(0) += count;
        }
        all
    })
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
