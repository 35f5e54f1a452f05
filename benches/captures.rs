//! The capture file: edges a second of one core, written and read, and bytes an edge, for steps with 2.5 µs of jitter.

#[path = "../tests/common/jittery.rs"]
mod jittery;

use divan::Bencher;
use divan::counter::ItemsCount;
use railproof::capture::file::{self, CaptureWriter};
use railproof::capture::{CaptureSink, Edge, EdgeChannel, Mark, Part};
use std::io::Write;

/// Edges of a capture.
const EDGES: usize = 4_000_000;
/// Ticks a second of a capture board and of a logic analyser.
const CLOCKS: [u64; 2] = [1_000_000, 1_000_000_000];

fn main() {
    for clock in CLOCKS {
        let mut bytes = Vec::new();
        write(clock, &parts(clock), &mut bytes);
        println!("{clock} ticks/s: {:.3} bytes an edge", bytes.len() as f64 / EDGES as f64);
    }
    divan::main();
}

/// Edges are counted and forgotten.
#[derive(Default)]
struct Counted(usize);

impl CaptureSink for Counted {
    fn part(&mut self, part: &Part) {
        self.0 += part.edges.iter().map(Vec::len).sum::<usize>();
    }

    fn mark(&mut self, _: &Mark) {}
}

/// The edges in parts, as a jig hands them out.
fn parts(clock: u64) -> Vec<Part> {
    let part = |edges: &[Edge]| {
        let mut part = Part::default();
        part.edges[EdgeChannel::Step as usize] = edges.to_vec();
        part
    };
    jittery::steps(clock as f64, EDGES).chunks(10_000).map(part).collect()
}

fn write(clock: u64, parts: &[Part], to: &mut impl Write) {
    let mut writer = CaptureWriter::new(to, clock).expect("memory");
    parts.iter().for_each(|part| writer.part(part));
    writer.finish().expect("memory");
}

#[divan::bench(args = CLOCKS, sample_count = 15)]
fn written(bencher: Bencher, clock: u64) {
    let parts = parts(clock);
    let mut bytes = Vec::with_capacity(2 * EDGES);
    bencher.counter(ItemsCount::new(EDGES)).bench_local(|| {
        bytes.clear();
        write(clock, &parts, &mut bytes);
    });
}

#[divan::bench(args = CLOCKS, sample_count = 15)]
fn read(bencher: Bencher, clock: u64) {
    let mut bytes = Vec::new();
    write(clock, &parts(clock), &mut bytes);
    bencher.counter(ItemsCount::new(EDGES)).bench_local(|| {
        let mut counted = Counted::default();
        file::read(&bytes[..], &mut counted).expect("it is whole");
        assert_eq!(counted.0, EDGES);
    });
}
