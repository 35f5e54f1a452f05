//! The step-clock report: edges a second of one core, from stamps to values.

use divan::Bencher;
use divan::counter::ItemsCount;
use railproof::capture::{Edge, EdgeChannel};
use railproof::measure::{JigFacts, PackFacts, Profile, Setup, StepClock, StepClockRules, UnitFacts};
use rand::SeedableRng;
use rand_distr::{Distribution, StandardNormal};
use rand_xoshiro::Xoshiro256PlusPlus;

fn main() {
    divan::main();
}

/// Steps of the long motion that is measured.
const STEPS: usize = 10_000_000;

fn setup(ticks_per_second: u64) -> Setup {
    Setup {
        unit: UnitFacts {
            steps_per_metre: 80_000.0,
            acceleration: 1.6,
            microsteps: 16,
            step_timer: None,
            belt_pitch: 2e-3,
            pulley_turn: 40e-3,
            travel: 0.56,
            levels: vec![0.09],
            segments: 0,
            refresh: None,
            crawl_increment: 0.2e-3,
            crawl_interval: 2.0,
            pack: PackFacts::default(),
            housing_limit: None,
        },
        jig: JigFacts {
            ticks_per_second,
            clock_error: 0.0,
            clock_uncertainty: 10e-6,
            stamp_uncertainty: 0.1e-6,
            encoder_edges_per_metre: 40_000.0,
            encoder_uncertainty: 0.0,
            edges: vec![EdgeChannel::Step],
            calibrations: Default::default(),
            lit_above: 0.5,
        },
    }
}

/// 7200 steps a second with 2.5 µs rms of jitter, after a ramp of 1600 mm/s².
fn steps(ticks_per_second: u64) -> Vec<Edge> {
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(1);
    let ramp = (7200.0_f64 * 7200.0 / 256_000.0).floor();
    let time = |step: f64| {
        if step <= ramp { (step / 64_000.0).sqrt() } else { (ramp / 64_000.0).sqrt() + (step - ramp) / 7200.0 }
    };
    (0..STEPS)
        .map(|step| {
            let late: f64 = StandardNormal.sample(&mut rng);
            let at = 1e-3 + time(step as f64) + 2.5e-6 * late;
            Edge::new((at * ticks_per_second as f64).round() as u64, true)
        })
        .collect()
}

/// The whole report of one motion, its histogram, its budgets and the comparison with the commanded profile among it.
#[divan::bench(args = [1_000_000, 1_000_000_000], sample_count = 20)]
fn whole_report(bencher: Bencher, ticks_per_second: u64) {
    let (setup, steps) = (setup(ticks_per_second), steps(ticks_per_second));
    bencher.counter(ItemsCount::new(STEPS)).bench_local(|| {
        let mut clock = StepClock::new(StepClockRules::of(&setup));
        steps.chunks(65_536).for_each(|slice| clock.take(slice));
        let motion = clock.finish();
        (motion.told(Some(7200.0), &setup), Profile::commanded(7200.0, &setup).compare(&steps, &motion))
    });
}
