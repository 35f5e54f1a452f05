//! Step edges as a drive with jitter gives them: made once, for the capture file's size and speed.

use railproof::capture::Edge;
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// Step edges of trapezoid travels, 0.8 to 8 kHz, with 2.5 µs of jitter, on a clock of `ticks_per_second`.
pub fn steps(ticks_per_second: f64, count: usize) -> Vec<Edge> {
    let mut generator = Xoshiro256PlusPlus::seed_from_u64(20_240_601);
    let jitter = Normal::new(0.0, 2.5e-6 * ticks_per_second).expect("a deviation");
    let mut ideal = 0.0;
    let mut before = 0;
    (0..count)
        .map(|index| {
            let ramp = (index % 40_000).min(40_000 - index % 40_000).min(4000) as f64 / 4000.0;
            ideal += ticks_per_second / (800.0 + 7200.0 * ramp);
            let tick = (ideal + jitter.sample(&mut generator)).round().max(0.0) as u64;
            before = tick.max(before);
            Edge::new(before, true)
        })
        .collect()
}
