//! The shipped binary on an emulated bench: the demo unit's and the capture board's own firmware, instruction by instruction,
//! with the simulated mechanics between them. In real time, and with tools that not everybody has, so that
//! `tests/emulated/bench_check.sh` alone runs these.

#[path = "emulated/bench.rs"]
mod bench;

use bench::shipped::{decisions, in_process};
use bench::{CYCLES_PER_SECOND, EmulatedBench, Supply};
use railproof::capture::{CaptureSink, EdgeChannel, Mark, Part, Tick, file};
use railproof::clock::{Clock, ComputerClock};
use railproof::record::Record;
use railproof::record::stored::Verdict;
use railproof::sim::WorldSettings;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

const PLAN: &str = "tests/emulated/outgoing-short.yaml";
/// Cycles of a tick of the board's clock.
const CYCLES_PER_TICK: u64 = 8;
/// What the board's watchdog waits, and the millisecond that it counts in.
const WATCHDOG_CYCLES: u64 = 251 * CYCLES_PER_SECOND / 1000;

/// Runs the plan to its end. A computer that is held up for long starves its serial ports, and the run is then rightly
/// invalid: the bench is asked again, and says so.
fn run_to_the_end(bench: &EmulatedBench) -> Record {
    for _ in 0..3 {
        bench.trace().steps.clear();
        let output = bench.run(PLAN).output().expect("the binary runs");
        let said = String::from_utf8_lossy(&output.stderr);
        let record: Record = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{said}"));
        if record.decision != Verdict::Invalid {
            return record;
        }
        println!("asked again, since the bench was held up: {:?}", record.invalid_because);
    }
    panic!("the bench was held up three times");
}

/// Steps of a capture.
#[derive(Default)]
struct Steps(Vec<Tick>);

impl CaptureSink for Steps {
    fn part(&mut self, part: &Part) {
        assert!(part.losses.is_empty(), "{:?}", part.losses);
        self.0.extend(part.edges(EdgeChannel::Step).iter().filter(|edge| edge.level()).map(|edge| edge.tick()));
    }

    fn mark(&mut self, _: &Mark) {}
}

fn captured_steps(folder: &Path) -> Vec<Tick> {
    let mut steps = Steps::default();
    let captures = std::fs::read_dir(folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
    let mut paths: Vec<_> = captures.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    for path in paths {
        let summary = file::read(File::open(&path).expect("a capture"), &mut steps).expect("a whole one");
        assert!(summary.whole, "{}", path.display());
    }
    steps.0
}

/// Every step that the unit made is in the capture, and every interval is that of the emulation's own cycles.
fn compare_steps(captured: &[Tick], emulated: &[Tick]) {
    assert_eq!(captured.len(), emulated.len(), "steps captured and steps made");
    let intervals = |steps: &[Tick], cycles: u64| -> Vec<i64> {
        steps.windows(2).map(|pair| ((pair[1] - pair[0]) * cycles) as i64).collect()
    };
    let (seen, made) = (intervals(captured, CYCLES_PER_TICK), intervals(emulated, 1));
    let apart = seen.iter().zip(&made).map(|(seen, made)| (seen - made).unsigned_abs()).max().unwrap_or(0);
    println!("{} steps, all captured; intervals within {apart} cycles (a tick has 8)", captured.len());
    assert!(captured.len() > 80_000, "only {} steps", captured.len());
    assert!(apart <= 2 * CYCLES_PER_TICK, "an interval is {apart} cycles off");
}

/// What this firmware's unit got on the emulated bench, and where its run is kept: the decisions are those of the unit that is
/// simulated all in process, and every step is captured.
fn run_firmware(firmware: &str) -> (Record, EmulatedBench, PathBuf) {
    let bench = EmulatedBench::start(firmware, &WorldSettings::default());
    let record = run_to_the_end(&bench);
    assert_eq!(record.unit.reports["firmware"], firmware);
    assert_eq!(decisions(&record), decisions(&in_process(PLAN, &["--firmware", firmware])));
    let folder = bench.folder.path().join("results/SM-0001").join(&record.run.id);
    compare_steps(&captured_steps(&folder.join("captures")), &bench.trace().steps);
    (record, bench, folder)
}

#[test]
#[ignore = "needs avr-gcc and simavr, in real time: bash tests/emulated/bench_check.sh"]
fn the_shipping_firmware_conforms_and_every_step_is_captured() {
    let (record, ..) = run_firmware("1.4.0");
    assert_eq!(record.decision, Verdict::Conforms, "{:?}", decisions(&record));
}

#[test]
#[ignore = "needs avr-gcc and simavr, in real time: bash tests/emulated/bench_check.sh"]
fn firmware_that_masks_interrupts_fails_by_the_tail_of_its_jitter() {
    let (record, _bench, folder) = run_firmware("1.5.0");
    assert_eq!(record.decision, Verdict::DoesNotConform, "{:?}", decisions(&record));
    let failed: Vec<_> = decisions(&record).into_iter().filter(|found| found.2 == Verdict::DoesNotConform).collect();
    println!("{failed:?}");
    assert!(failed.iter().any(|found| found.1 == "period jitter p99.9"), "{failed:?}");
    assert!(failed.iter().any(|found| found.1 == "longest step gap"), "{failed:?}");
    let junit = std::fs::read_to_string(folder.join("junit.xml")).expect("a run leaves its report");
    assert!(junit.contains("longest step gap"), "the report names the gap");
}

/// Waits until the unit's supply has been switched so often.
fn await_supply(bench: &EmulatedBench, changes: usize) -> Supply {
    let clock = ComputerClock::new();
    let deadline = clock.now().after(Duration::from_secs(30));
    loop {
        if let Some(&supply) = bench.trace().supply.get(changes - 1) {
            return supply;
        }
        assert!(clock.now() < deadline, "the supply was not switched: {:?}", bench.trace().supply);
        clock.sleep_until(clock.now().after(Duration::from_millis(5)));
    }
}

#[test]
#[ignore = "needs avr-gcc and simavr, in real time: bash tests/emulated/bench_check.sh"]
fn a_killed_run_is_cut_off_by_the_boards_own_watchdog() {
    let bench = EmulatedBench::start("1.4.0", &WorldSettings::default());
    let mut run = bench.run(PLAN).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("the binary runs");
    assert!(await_supply(&bench, 1).on);
    run.kill().expect("it is alive");
    run.wait().expect("it ends");
    let killed = bench.trace().now;
    let off = await_supply(&bench, 2);
    let ms = |cycles: u64| cycles as f64 * 1e3 / CYCLES_PER_SECOND as f64;
    println!(
        "supply off {:.1} ms after the last byte, {:.1} ms after the kill",
        ms(off.at - off.heard),
        ms(off.at - killed)
    );
    assert!(!off.on && off.at - off.heard <= WATCHDOG_CYCLES, "{:.3} ms", ms(off.at - off.heard));
}

/// The shipped jig's references against its board's own firmware, for as short as the clock allows.
#[test]
#[ignore = "needs avr-gcc and simavr, in real time: bash tests/emulated/bench_check.sh"]
fn the_board_s_own_firmware_is_checked_by_its_jig_file() {
    let bench = EmulatedBench::start("1.4.0", &WorldSettings::default());
    let text = std::fs::read_to_string(bench::shipped::project("fixtures/jigs/capture-board.yaml")).expect("it ships");
    let jig = bench.folder.path().join("jig.yaml");
    std::fs::write(&jig, text.replace("over: 30 s", "over: 20 s")).expect("written");
    for _ in 0..3 {
        let output = bench.check(&jig).output().expect("the binary runs");
        let said = String::from_utf8_lossy(&output.stderr);
        // Held up, evidence is lost or the clocks are known too badly.
        if matches!(output.status.code(), Some(3 | 4)) {
            println!("asked again, since the bench was held up: {said}");
            continue;
        }
        let checked: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{said}"));
        let findings = checked["findings"].as_array().expect("findings");
        for found in findings {
            println!("{} {}: {} {}", found["channel"], found["what"], found["value"], found["decision"]);
        }
        assert_eq!(output.status.code(), Some(0), "{checked}");
        let conform = findings.iter().filter(|found| found["decision"] == "conforms").count();
        assert_eq!((conform, findings.len()), (6, 7), "all but the reference unit, which is not on it");
        return;
    }
    panic!("the bench was held up three times");
}

#[test]
#[ignore = "needs avr-gcc and simavr, in real time: bash tests/emulated/bench_check.sh"]
fn an_unplugged_bench_makes_the_run_invalid() {
    let mut bench = EmulatedBench::start("1.4.0", &WorldSettings::default());
    let run = bench.run(PLAN).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the binary runs");
    await_supply(&bench, 1);
    bench.unplug();
    let output = run.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(4));
    let record: Record = serde_json::from_slice(&output.stdout).expect("the record is printed");
    assert_eq!(record.decision, Verdict::Invalid);
    assert!(record.invalid_because[0].contains("unplugged"), "{:?}", record.invalid_because);
}
