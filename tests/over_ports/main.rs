//! The shipped binary over real serial ports (pseudo terminals): `simulate` in one process, `run` in another.

mod benches;
mod served;
#[path = "../common/shipped.rs"]
mod shipped;

use railproof::clock::{Clock, ComputerClock};
use railproof::record::stored::Verdict;
use served::{Cable, Served};
use shipped::{decisions, in_process};
use std::time::Duration;

/// The unit's cable is pulled, and is back at once: the run stays invalid all the same, since a unit that falls off its port may
/// have browned out, and nobody could tell. The supply goes off over the board's own cable, and the next run finds a bench
/// that is ready.
#[test]
fn a_unit_that_is_back_at_once_makes_the_run_invalid_and_the_next_one_fine() {
    let served = Served::start(&["--scale", "3"]);
    let (unit, place) = (served.unit(), served.folder.path().join("cable"));
    let clock = ComputerClock::new();
    // At rest while the unit starts up and its pack is loaded, then on its way home.
    for (ms, moves) in [(150, false), (2500, true)] {
        let cable = Cable::plug(&unit, &place);
        let mut run = served.run_by(&place);
        served.simulate.await_words("unit supply on");
        clock.sleep_until(clock.now().after(Duration::from_millis(ms)));
        let pulled = clock.now();
        cable.pull();
        let back = Cable::plug(&unit, &place);
        served.simulate.await_words("unit supply off");
        println!(
            "pulled {}: supply off after {:?}",
            if moves { "in motion" } else { "at rest" },
            clock.now().since(pulled)
        );
        assert_eq!(run.wait().code(), Some(4));
        let record = served.records().pop().expect("an invalid run leaves its record");
        assert_eq!(record.decision, Verdict::Invalid);
        assert!(record.invalid_because[0].contains("unplugged"), "{:?}", record.invalid_because);
        let done: Vec<&str> =
            record.checks.iter().flat_map(|check| &check.moves).map(|planned| planned.label.as_str()).collect();
        assert_eq!(done.iter().any(|label| label.starts_with("home")), moves, "{done:?}");

        let status = served.run_by(&place).wait().code();
        assert!(matches!(status, Some(0 | 4)), "{status:?}: {}", served.faulted(&["SM-0001"]));
        let record = served.records().pop().expect("a run leaves its record");
        let held_up = record.invalid_because.iter().all(|why| !why.contains("unplugged") && !why.contains("opened"));
        assert!(held_up, "{:?}", record.invalid_because);
        back.pull();
    }
}

#[test]
fn the_same_unit_gets_the_same_decisions_over_ports_and_in_process() {
    let served = Served::start(&["--seed", "3", "--scale", "3"]);
    let over_ports = served.run_to_the_end("test-plans/quick.yaml");
    let in_process = in_process("test-plans/quick.yaml", &["--seed", "3"]);
    assert_eq!(decisions(&over_ports), decisions(&in_process));

    let (mut compared, mut apart) = (0, Vec::new());
    for (there, here) in over_ports.checks.iter().zip(&in_process.checks) {
        for (there, here) in there.requirements.iter().zip(&here.requirements) {
            for (a, b) in there.readings.iter().zip(&here.readings) {
                let (Some(a), Some(b)) = (&a.measured, &b.measured) else { continue };
                // Outside: ISO 13528:2022, 9.7, E_n of the same unit measured over two ways in; how: from memory
                // Two independent readings of one thing agree where E_n = |a - b| / sqrt(Ua² + Ub²) is at most 1
                // (ISO 13528:2022, 9.7).
                let doubt = a.expanded_uncertainty.hypot(b.expanded_uncertainty);
                compared += 1;
                if (a.value - b.value).abs() > doubt {
                    apart.push(format!("{}: {} and {} ± {doubt} {}", there.measurand, a.value, b.value, there.unit));
                }
            }
        }
    }
    assert!(compared > 20, "only {compared} readings");
    // At 95 % coverage some pairs lie apart by chance alone.
    assert!(apart.len() * 10 <= compared, "{} of {compared} lie apart:\n{}", apart.len(), apart.join("\n"));
}

#[test]
fn a_run_that_is_interrupted_leaves_the_bench_safe_and_an_invalid_record() {
    let served = Served::start(&[]);
    let mut run = served.run("test-plans/quick.yaml");
    served.simulate.await_words("unit supply on");
    run.signal(rustix::process::Signal::INT);
    assert_eq!(run.wait().code(), Some(130));
    assert_eq!(served.simulate.await_words("unit supply off"), "unit supply off");
    let record = served.records().remove(0);
    assert!(record.interrupted);
    assert_eq!(record.decision, Verdict::Invalid);
}

#[test]
fn a_killed_run_is_cut_off_by_the_watchdog_and_leaves_no_half_record() {
    let served = Served::start(&["--scale", "3"]);
    let mut killed = served.run("test-plans/quick.yaml");
    served.simulate.await_words("unit supply on");
    killed.signal(rustix::process::Signal::KILL);
    killed.wait();
    served.simulate.await_words("unit supply off by the watchdog");
    assert!(served.records().is_empty());

    let next = served.run("test-plans/quick.yaml");
    next.await_words("is kept as invalid in");
    drop(next);
    let broken_off = served.records().remove(0);
    assert_eq!(broken_off.decision, Verdict::Invalid);
    assert!(broken_off.invalid_because[0].contains("broken off in its middle"), "{:?}", broken_off.invalid_because);
    served.run_to_the_end("test-plans/quick.yaml");
}

#[test]
fn an_unplugged_bench_makes_the_run_invalid() {
    let mut served = Served::start(&[]);
    let mut run = served.run("test-plans/quick.yaml");
    served.simulate.await_words("unit supply on");
    served.simulate.signal(rustix::process::Signal::KILL);
    served.simulate.wait();
    assert_eq!(run.wait().code(), Some(4));
    let record = served.records().remove(0);
    assert_eq!(record.decision, Verdict::Invalid);
    assert!(record.invalid_because[0].contains("unplugged"), "{:?}", record.invalid_because);
}
