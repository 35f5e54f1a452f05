//! How small a capture file is, against what the jitter in it holds at least.

#[path = "common/jittery.rs"]
mod jittery;

use railproof::capture::file::CaptureWriter;
use railproof::capture::{CaptureSink, EdgeChannel, Part};

/// Steps whose places are known hold only the jitter of each: on a clock of resolution q a Gaussian of 2.5 µs is worth
/// log2(√(2πe) · 2.5 µs / q) bits, 3.37 at 1 µs, 4.37 at 0.5 µs and 13.33 at 1 ns. Less cannot be whole.
// Outside: entropy of a quantised Gaussian, Cover & Thomas 2nd ed., theorems 8.3.1 and 8.4.1; how: closed form
#[test]
fn a_capture_is_small() {
    for (ticks_per_second, bytes_most, bits_least) in [(1e6, 0.55, 3.37), (2e6, 0.66, 4.37), (1e9, 1.78, 13.33)] {
        let edges = jittery::steps(ticks_per_second, 300_000);
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
