//! How small a capture file is, against what the jitter in it holds at least; and edges of another program as a capture.

#[path = "common/jittery.rs"]
mod jittery;

use railproof::capture::file::{CaptureReader, CaptureWriter};
use railproof::capture::{Action, CaptureSink, Destination, EdgeChannel, Mark, MarkKind, Part, Phase, Tick};
use std::fs::{self, File};
use std::io::BufWriter;
use std::path::{Path, PathBuf};

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

/// Ticks in a numpy file (`.npy`, format 1.0: magic, two bytes of version, two of the head's length, a head in text, and
/// whole numbers of eight bytes).
fn numpy_ticks(file: &Path) -> Vec<Tick> {
    let bytes = fs::read(file).expect("a numpy file");
    assert_eq!(bytes[..8], *b"\x93NUMPY\x01\x00");
    let begin = 10 + usize::from(u16::from_le_bytes([bytes[8], bytes[9]]));
    let head = String::from_utf8_lossy(&bytes[10..begin]);
    assert!(head.contains("'<i8'"), "{head}");
    let whole = |eight: &[u8]| u64::from_le_bytes(eight.try_into().expect("eight bytes"));
    bytes[begin..].chunks_exact(8).map(whole).collect()
}

/// A capture of one travel with steps at these nanoseconds.
fn write_travel(to: &Path, ticks: &[Tick]) {
    let file = BufWriter::new(File::create(to).expect("a file"));
    let mut writer = CaptureWriter::new(file, 1_000_000_000).expect("room");
    let mark = |at, kind| Mark { at, doubt: 0, kind };
    let travel = Action::Travel { to: Destination::By(ticks.len() as f64 / 80_000.0), speed: 0.09, level: None };
    let phase = Phase { check: 0, ordinal: 0, label: "at 90 mm/s".into(), action: travel };
    writer.mark(&mark(0, MarkKind::CheckBegins { check: 0 }));
    writer.mark(&mark(0, MarkKind::PhaseBegins(phase)));
    for slice in ticks.chunks(65_536) {
        let mut part = Part::default();
        slice.iter().for_each(|tick| part.push_edge(EdgeChannel::Step, *tick, true));
        writer.part(&part);
    }
    let ended = ticks.last().map_or(0, |last| last + 1_000_000);
    writer.mark(&mark(ended, MarkKind::PhaseEnds));
    writer.mark(&mark(ended, MarkKind::CheckEnds { check: 0 }));
    writer.finish().expect("room").into_inner().expect("room").sync_all().expect("room");
}

/// The step edges of a capture.
#[derive(Default)]
struct Steps(Vec<Tick>);

impl CaptureSink for Steps {
    fn part(&mut self, part: &Part) {
        self.0.extend(part.edges(EdgeChannel::Step).iter().map(|edge| edge.tick()));
    }

    fn mark(&mut self, _: &Mark) {}
}

/// `RAILPROOF_EDGES` names a numpy file of nanoseconds; beside it a capture of the same steps is left, for those who want to
/// measure both (`tests/heavy/step_clock.py`). Where it does not, a small one is made here.
#[test]
fn steps_of_another_program_become_a_capture() {
    let folder = tempfile::tempdir().expect("a folder");
    let named = std::env::var_os("RAILPROOF_EDGES").map(PathBuf::from);
    let file = named.unwrap_or_else(|| {
        let file = folder.path().join("edges.npy");
        let mut bytes = b"\x93NUMPY\x01\x00\x76\x00".to_vec();
        let head = "{'descr': '<i8', 'fortran_order': False, 'shape': (100000,), }";
        bytes.extend(format!("{head:<117}\n").into_bytes());
        bytes.extend(jittery::steps(1e9, 100_000).iter().flat_map(|edge| edge.tick().to_le_bytes()));
        fs::write(&file, bytes).expect("room");
        file
    });
    let ticks = numpy_ticks(&file);
    let capture = file.with_extension("capture");
    write_travel(&capture, &ticks);
    let mut steps = Steps::default();
    CaptureReader::open(File::open(&capture).expect("it is there")).expect("ours").replay(&mut steps).expect("whole");
    assert!(steps.0 == ticks, "{} edges became {}", ticks.len(), steps.0.len());
}
