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
