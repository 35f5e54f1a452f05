//! Healthy units of many seeds against the outgoing plan: none is rejected, hardly any is left undecided.

mod common;
#[path = "common/counted.rs"]
mod counted;

use common::Simulated;
use counted::Counted;
use railproof::decide::Decision;
use railproof::sim::WorldSettings;
use std::sync::atomic::{AtomicU64, Ordering};

const SEEDS: u64 = 200;
/// At most 1 % undecided.
const UNDECIDED_MAX: usize = 2;

#[test]
fn two_hundred_healthy_units_pass() {
    let next = AtomicU64::new(1);
    let worker = || {
        let simulated = Simulated::shipped("outgoing");
        let mut poor = Vec::new();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed > SEEDS {
                return poor;
            }
            let world = WorldSettings { seed, ..WorldSettings::default() };
            let outcome = simulated.run(&world, &mut Counted::default());
            if outcome.decision != Decision::Conforms {
                let checks = outcome.checks.iter().filter(|check| check.decision != Decision::Conforms);
                let names: Vec<_> = checks.map(|check| simulated.plan.checks[check.check].name.as_str()).collect();
                poor.push((outcome.decision, format!("seed {seed}: {} in {names:?}", outcome.decision.words())));
            }
        }
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    let poor: Vec<_> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers).map(|_| scope.spawn(worker)).collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("no run panics")).collect()
    });
    let told: Vec<&str> = poor.iter().map(|(_, text)| text.as_str()).collect();
    assert!(poor.iter().all(|(decision, _)| *decision == Decision::Undecided), "{}", told.join("\n"));
    assert!(poor.len() <= UNDECIDED_MAX, "{}", told.join("\n"));
}
