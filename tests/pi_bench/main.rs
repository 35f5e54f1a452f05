//! The Raspberry Pi jig, everything above rppal of it: whole runs over a stand-in for the pin header, with the simulated
//! unit on its pins and chips on its buses, in real time.

#![cfg(target_os = "linux")]

mod stand_in;

use railproof::capture::{CaptureSink, EdgeChannel, Mark, OutputChannel, Part, SampleChannel};
use railproof::care::{Usage, check};
use railproof::clock::{Clock, ComputerClock};
use railproof::decide::Decision;
use railproof::event::{Event, RunOutcome, Watcher};
use railproof::jig::pi::PiWiring;
use railproof::jig::pi::bench::PiJig;
use railproof::jig::{Jig, JigFile};
use railproof::plan::Draft;
use railproof::port::memory_pair;
use railproof::run::{self, Answering, Bench, Evidence, Job};
use railproof::sim::{CheckWiring, SwitchedReference, WorldSettings};
use railproof::unit::Unit;
use railproof::written::{Problem, Source};
use stand_in::{StandIn, Trouble};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

const PLAN: &str = "
plan: a short look
revision: 1
model: dunlin-600
decision rule: { false accept at most: 2.5 % }
before: [ Hands clear ]
checks:
  - name: start and travel
    moves:
      - power: on
      - wait: 1 s
      - home: left
      - start: { by: knob push, towards: right, level: 5, for: 2 s, stop by: stop key }
      - travel: { to: left, speed: 90 mm/s }
    require:
      pack rest voltage: at least 7.6 V
      missed end stops: at most 0
      missing steps: at most 0
      cruise speed: between 38 mm/s and 92 mm/s
      control response: at most 60 ms
      segment errors: at most 0
      motor temperature: at most 55 °C
      unanswered commands: at most 0
";

fn read<T>(read: Result<T, Vec<Problem>>) -> T {
    read.unwrap_or_else(|problems| panic!("{}", problems[0]))
}

fn file(path: &str) -> Source {
    let whole = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    Source::new(path, std::fs::read_to_string(whole).expect("it ships"))
}

struct Unkept;

impl CaptureSink for Unkept {
    fn part(&mut self, _: &Part) {}
    fn mark(&mut self, _: &Mark) {}
}

impl Evidence for Unkept {
    fn secure(&mut self) -> Result<(), String> {
        Ok(())
    }
}

/// Lets trouble begin with the plan's fourth move.
struct Troublemaker<'a> {
    begin: Option<fn(&Trouble)>,
    trouble: &'a Trouble,
}

impl Watcher for Troublemaker<'_> {
    fn see(&mut self, event: &Event<'_>) {
        if let Event::MoveBegins { ordinal: 3, .. } = event
            && let Some(begin) = self.begin.take()
        {
            begin(self.trouble);
        }
    }
}

/// The shipped jig's references on the stand-in, wired as the jig file's comments say; fewer and faster pulses, since this takes
/// its real time.
#[test]
fn a_jig_is_checked_by_its_pins_and_chips() {
    let text =
        file("fixtures/jigs/raspberry-pi.yaml").text().replace("pulses: 50, every: 40 ms", "pulses: 5, every: 20 ms");
    let jig_file = read(JigFile::read(&Source::new("raspberry-pi.yaml", text)));
    let unit = read(Unit::read(&file("fixtures/units/dunlin-600.yaml")));
    let [reference, wire] = [0, 1].map(OutputChannel::Auxiliary);
    let volts = SwitchedReference { by: reference, channel: SampleChannel::PackVoltage, value: 7.4, uncertainty: 2e-3 };
    let ends = [EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop];
    let loop_backs = ends.map(|end| (wire, end)).to_vec();
    let settings =
        WorldSettings { wiring: CheckWiring { loop_backs, references: vec![volts] }, ..WorldSettings::default() };
    let wiring = PiWiring::of(&jig_file).expect("all is wired");
    let clock = ComputerClock::new();
    let (mut link, unit_s_end) = memory_pair(&clock);
    let one_wire = tempfile::tempdir().expect("a folder");
    let mut header = StandIn::new(&wiring, &settings, unit_s_end, one_wire.path());
    let mut jig = PiJig::open(&wiring, &clock, &mut header).unwrap_or_else(|error| panic!("{error}"));
    let mut bench = Bench { clock: &clock, port: &mut link, jig: &mut jig, unit: &unit };
    let proofs = check::prove(&jig_file, &mut bench, &AtomicBool::new(false), &mut Usage::default());
    let proofs = proofs.unwrap_or_else(|trouble| panic!("{trouble}"));
    let decided: Vec<_> = proofs.iter().filter_map(|proof| Some((proof.name(), proof.decision()?))).collect();
    assert!(decided.iter().all(|(_, decision)| *decision == Decision::Conforms), "{proofs:#?}");
    // Three for each of two wires, five values, the load; a Pi's clock is the computer's own.
    assert_eq!((decided.len(), proofs.len()), (12, 13), "{decided:?}");
    assert!(!header.supply_is_on());
}

/// Runs the plan; returns its outcome, whether the unit was left with its supply, and how often the keep-alive pin toggled.
fn run_with(begin: Option<fn(&Trouble)>) -> (RunOutcome, bool, usize) {
    let unit = read(Unit::read(&file("fixtures/units/dunlin-600.yaml")));
    let jig_file = read(JigFile::read(&file("fixtures/jigs/raspberry-pi.yaml")));
    let plan = read(read(Draft::read(&Source::new("short.yaml", PLAN))).fit(&run::envelope(&unit, &jig_file)));
    let (setup, protection) = (run::setup(&unit, &jig_file), run::protection(&unit, &jig_file));
    let wiring = PiWiring::of(&jig_file).expect("all is wired");
    let clock = ComputerClock::new();
    let (mut link, unit_s_end) = memory_pair(&clock);
    let one_wire = tempfile::tempdir().expect("a folder");
    let settings = WorldSettings::default();
    let mut header = StandIn::new(&wiring, &settings, unit_s_end, one_wire.path());
    let mut jig = PiJig::open(&wiring, &clock, &mut header).unwrap_or_else(|error| panic!("{error}"));
    assert!(!jig.identity().simulated, "a run cannot ask whether its bench is real");
    let mut bench = Bench { clock: &clock, port: &mut link, jig: &mut jig, unit: &unit };
    let interrupted = AtomicBool::new(false);
    let job = Job {
        plan: &plan,
        setup: &setup,
        protection: &protection,
        serial: &settings.serial,
        interrupted: &interrupted,
    };
    let mut watcher = Troublemaker { begin, trouble: &header.trouble };
    let outcome = run::run(&job, &mut bench, &mut Answering::new(Vec::new(), true), &mut Unkept, &mut watcher);
    let supplied = header.supply_is_on();
    drop(jig);
    let toggled = header.keep_alive.load(Ordering::Relaxed);
    clock.sleep_until(clock.now().after(Duration::from_millis(200)));
    assert_eq!(header.keep_alive.load(Ordering::Relaxed), toggled, "the keep-alive pin rests when the jig is gone");
    (outcome, supplied, toggled)
}

#[test]
fn a_healthy_unit_conforms_on_pins_and_chips() {
    let (outcome, supplied, toggled) = run_with(None);
    assert_eq!(outcome.decision, Decision::Conforms, "{:?} {:#?}", outcome.invalid_because, outcome.checks);
    assert!(!supplied, "the unit's supply is off after a run");
    // Twenty periods a second while it lived, forty toggles; a busy computer makes some of them late.
    assert!(toggled as f64 > 20.0 * outcome.took_s, "{toggled} in {} s", outcome.took_s);
}

/// The trouble makes the run invalid, and says why; the unit is left without its supply.
fn is_invalid(begin: fn(&Trouble), because: &str) {
    let (outcome, supplied, _) = run_with(Some(begin));
    assert_eq!(outcome.decision, Decision::Invalid);
    assert!(outcome.invalid_because.iter().any(|why| why.contains(because)), "{:?}", outcome.invalid_because);
    assert!(!supplied);
}

#[test]
fn an_edge_that_the_kernel_lost_makes_the_run_invalid() {
    is_invalid(|trouble| trouble.lose_an_edge.store(true, Ordering::Relaxed), "end stop");
}

#[test]
fn chips_that_fall_off_the_bus_make_the_run_invalid() {
    is_invalid(|trouble| trouble.no_converters.store(true, Ordering::Relaxed), "ADS1115");
}
