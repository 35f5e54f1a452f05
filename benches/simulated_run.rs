//! One outgoing run on the simulated bench, in process and without files: simulating, conducting, measuring and deciding.
//!
//! The second figure is edges per second: step pulses and encoder edges that were simulated and measured.

#[path = "../tests/common/mod.rs"]
mod common;
#[path = "../tests/common/counted.rs"]
mod counted;
#[path = "../tests/common/kept.rs"]
mod kept;

use common::Simulated;
use counted::Counted;
use divan::Bencher;
use divan::counter::ItemsCount;
use railproof::sim::WorldSettings;

fn main() {
    divan::main();
}

/// Another seed each time, so that no branch predictor learns one unit by heart.
fn next(seed: &mut u64) -> WorldSettings {
    *seed += 1;
    WorldSettings { seed: *seed, ..WorldSettings::default() }
}

#[divan::bench(args = ["outgoing", "quick"], sample_count = 50)]
fn run(bencher: Bencher, plan: &str) {
    let simulated = Simulated::shipped(plan);
    let mut counted = Counted::default();
    simulated.run(&WorldSettings::default(), &mut counted);
    let mut seed = 0;
    bencher
        .with_inputs(move || next(&mut seed))
        .input_counter(move |_| ItemsCount::new(counted.edges))
        .bench_local_values(|world| simulated.run(&world, &mut Counted::default()));
}

/// One unit after the other of a rehearsal of the shipped plan, as the shipped population has them.
#[divan::bench(sample_count = 100)]
fn rehearse_outgoing(bencher: Bencher) {
    use railproof::rehearsal::{Lot, Population, Rehearser};
    use railproof::sim::CheckWiring;
    let text = include_str!("../fixtures/populations/dunlin-600.yaml");
    let population = Population::read(&railproof::written::Source::new("dunlin-600.yaml", text)).expect("it is sound");
    let Simulated { plan, unit, setup, protection } = &Simulated::shipped("outgoing");
    let (setup, protection, wiring) = (setup.clone(), protection.clone(), CheckWiring::default());
    let rehearser = Rehearser { plan, unit, setup, protection, wiring };
    let lot = Lot::new(&population, 1, 10_000);
    let never = std::sync::atomic::AtomicBool::new(false);
    let mut number = 0;
    bencher
        .with_inputs(move || {
            number += 1;
            lot.unit(number)
        })
        .bench_local_values(|unit| rehearser.rehearse(&unit, &never));
}

/// Measuring and deciding alone, from a capture that is unpacked in memory.
#[divan::bench(sample_count = 50)]
fn measure_and_decide_outgoing(bencher: Bencher) {
    use railproof::capture::file::{CaptureReader, CaptureWriter};
    use railproof::run::Assessor;
    let simulated = Simulated::shipped("outgoing");
    let mut kept = kept::Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).unwrap());
    simulated.run(&WorldSettings::default(), &mut kept);
    let bytes = kept.0.finish().unwrap();
    bencher.bench_local(|| {
        let mut assessor = Assessor::new(&simulated.plan, simulated.setup.clone());
        CaptureReader::open(&bytes[..]).unwrap().replay(&mut assessor).unwrap();
        assessor.finish("")
    });
}
