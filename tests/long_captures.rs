//! Captures of any length are measured in the same memory: the shipped binary's peak is read while it measures
//! captures of one motion without an end, ours and another instrument's.
//!
//! `RAILPROOF_LONG_MB` says how long they are; 24 MB already hold more edges of ours than are kept at once. 10000 is the
//! length that the README's figures are from.

use assert_cmd::cargo::cargo_bin;
use railproof::capture::file::CaptureWriter;
use railproof::capture::{Action, CaptureSink, Destination, EdgeChannel, Mark, MarkKind, Part, Phase};
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// More than it takes to measure as much as is kept at once, MB.
const PEAK_MAX_MB: u64 = 200;
/// A step comes every so many nanoseconds.
const STEP: u64 = 138_889;

fn length() -> u64 {
    let megabytes = std::env::var("RAILPROOF_LONG_MB").map_or(24, |text| text.parse().expect("a number of megabytes"));
    megabytes * 1_000_000
}

/// Measures a capture; what was said, and the most memory that it took, MB.
fn measured(capture: &Path, more: &[&str]) -> (Output, u64) {
    let unit = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/units/dunlin-600.yaml");
    let mut command = Command::new(cargo_bin("railproof"));
    command.arg("measure").arg(capture).arg("--unit").arg(unit).args(more);
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let child = command.spawn().expect("the binary is built");
    let status = format!("/proc/{}/status", child.id());
    let (ended, end) = mpsc::channel();
    let waiting = std::thread::spawn(move || {
        let output = child.wait_with_output().expect("it ends");
        ended.send(()).expect("somebody waits");
        output
    });
    let mut peak = 0;
    while end.recv_timeout(Duration::from_millis(5)) == Err(RecvTimeoutError::Timeout) {
        peak = fs::read_to_string(&status).ok().and_then(|text| peak_of(&text)).map_or(peak, |now| now.max(peak));
    }
    (waiting.join().expect("the thread ends"), peak / 1000)
}

/// The greatest resident memory so far, kB (proc(5)).
fn peak_of(status: &str) -> Option<u64> {
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.split_whitespace().next()?.parse().ok()
}

/// One of ours: a check with one move, in which steps with 2.5 µs of jitter go on.
fn write_ours(to: &Path, length: u64) -> u64 {
    let mut writer =
        CaptureWriter::new(BufWriter::new(File::create(to).expect("a file")), 1_000_000_000).expect("room");
    let mark = |at, kind| Mark { at, doubt: 0, kind };
    let travel = Action::Travel { to: Destination::By(1.0), speed: 0.09, level: None };
    let phase = Phase { check: 0, ordinal: 0, label: "by 1 m at 90 mm/s".into(), action: travel };
    writer.mark(&mark(0, MarkKind::CheckBegins { check: 0 }));
    writer.mark(&mark(0, MarkKind::PhaseBegins(phase)));
    let (mut edges, mut state) = (0, 1_u64);
    let mut part = Part::default();
    while edges * 7 < length * 4 {
        part.clear();
        for _ in 0..65_536 {
            // Xorshift (G. Marsaglia, 2003); four numbers of it are nearly a Gaussian.
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let jitter: u64 = state.to_le_bytes().chunks(2).map(|two| u64::from(two[0]) * 17).sum();
            edges += 1;
            part.push_edge(EdgeChannel::Step, edges * STEP + jitter, true);
        }
        writer.part(&part);
    }
    writer.mark(&mark(edges * STEP + 100_000, MarkKind::PhaseEnds));
    writer.mark(&mark(edges * STEP + 100_000, MarkKind::CheckEnds { check: 0 }));
    writer.finish().expect("room").into_inner().expect("room").sync_all().expect("room");
    edges
}

/// Another instrument's: the same steps in a value change dump.
fn write_dump(to: &Path, length: u64) -> u64 {
    let mut file = BufWriter::new(File::create(to).expect("a file"));
    file.write_all(b"$timescale 1 ns $end\n$var wire 1 ! step $end\n$enddefinitions $end\n#0\n0!\n").expect("room");
    let (mut written, mut steps) = (0, 0);
    while written < length {
        steps += 1;
        let change = format!("#{}\n1!\n#{}\n0!\n", steps * STEP, steps * STEP + 5000);
        file.write_all(change.as_bytes()).expect("room");
        written += change.len() as u64;
    }
    file.into_inner().expect("room").sync_all().expect("room");
    steps
}

fn check(capture: &Path, entries: u64, held_max: u64, more: &[&str]) {
    let (output, peak) = measured(capture, more);
    let said = String::from_utf8_lossy(&output.stdout);
    let bytes = fs::metadata(capture).expect("it is there").len();
    println!("{} MB, {entries} steps: {peak} MB of memory at most", bytes / 1_000_000);
    assert_eq!(output.status.code(), Some(0), "{said}{}", String::from_utf8_lossy(&output.stderr));
    assert!(peak < PEAK_MAX_MB, "{peak} MB of memory");
    assert!(said.contains("step rate") || said.contains("speed"), "{said}");
    assert_eq!(said.contains("cut into pieces"), entries > held_max, "{said}");
    assert_eq!(said.contains(", piece 2"), entries > held_max, "{said}");
}

#[test]
fn a_long_capture_of_ours_takes_no_more_memory() {
    let folder = tempfile::tempdir().expect("a folder");
    let capture = folder.path().join("long.capture");
    let entries = write_ours(&capture, length());
    check(&capture, entries, 1 << 23, &[]);
}

#[test]
fn a_long_dump_takes_no_more_memory() {
    let folder = tempfile::tempdir().expect("a folder");
    let capture = folder.path().join("long.vcd");
    let entries = write_dump(&capture, length());
    check(&capture, entries, 1 << 23, &["--channel", "step=step"]);
}
