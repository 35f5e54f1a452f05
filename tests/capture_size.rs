//! How small a capture file is, against what the jitter in it holds at least.

use railproof::capture::file::CaptureWriter;
use railproof::capture::{CaptureSink, Edge, EdgeChannel, Part};
use rand::SeedableRng;
use rand_distr::{Distribution, Normal};
use rand_xoshiro::Xoshiro256PlusPlus;

/// Step edges of trapezoid travels, 0.8 to 8 kHz, with 2.5 µs of jitter, on a clock of `ticks_per_second`.
fn jittery_steps(ticks_per_second: f64, count: usize) -> Vec<Edge> {
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

/// The floor is entropy: a Gaussian of 2.5 µs on a clock of resolution q, differenced once, holds
/// log2(√(2πe) · √2 · 2.5 µs / q) bits (Cover and Thomas, "Elements of Information Theory", 2nd ed., theorem 8.4.1 and
/// theorem 8.3.1): 3.87 bits at 1 µs, 13.8 bits at 1 ns.
#[test]
fn a_capture_is_small() {
    for (ticks_per_second, bytes_most, bits_least) in [(1e6, 0.75, 3.3), (2e6, 0.9, 4.3), (1e9, 2.0, 13.2)] {
        let edges = jittery_steps(ticks_per_second, 300_000);
        let mut part = Part::default();
        part.edges[EdgeChannel::Step as usize] = edges.clone();
        let mut writer = CaptureWriter::new(Vec::new(), ticks_per_second as u64).expect("memory");
        writer.part(&part);
        let bytes = writer.finish().expect("memory");
        let each = bytes.len() as f64 / edges.len() as f64;
        println!("{ticks_per_second:.0e} ticks/s: {:.2} bits an edge", 8.0 * each);
        assert!(each <= bytes_most, "{each} bytes an edge at {ticks_per_second} ticks a second");
        assert!(8.0 * each > bits_least, "{each} bytes an edge is less than the jitter holds");
    }
}
