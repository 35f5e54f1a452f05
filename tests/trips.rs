//! Trips: whatever the plan asks for, what gets into danger is stopped, soon, and the outcome says what it was.
//!
//! A healthy unit on the simulated bench, with each limit in turn set so that it has to trip. The time from the moment at
//! which the danger can be seen in the evidence to the moment at which the supply goes off is measured on the jig's clock.

mod common;
#[path = "common/scripted.rs"]
mod scripted;

use common::Simulated;
use railproof::capture::{CaptureSink, EdgeChannel, Mark, OutputChannel, Part, SampleChannel, Tick};
use railproof::clock::{Clock, HostTime};
use railproof::decide::Decision;
use railproof::event::RunOutcome;
use railproof::jig::{Jig, JigError, JigIdentity};
use railproof::run::{Answering, Bench, Evidence};
use railproof::sim::{self, World, WorldSettings};
use railproof::written::Source;
use scripted::{Firmware, Fitted, Marks, Said, Scripted, says};
use std::sync::atomic::AtomicBool;
use std::time::Duration;

/// What a trip of stop category 0 may take, s: the bench looks every 20 ms, and a quantity has to stay beyond for 10 ms.
const AT_ONCE_S: f64 = 0.045;
/// What one of category 1 may take: the unit has 200 ms to brake.
const AFTER_BRAKING_S: f64 = 0.25;

const PLAN: &str = "
plan: trips
revision: 1
model: dunlin-600
decision rule: { false accept at most: 2.5 % }
checks:
  - name: first
    moves:
      - power: on
      - home: left
      - travel: { to: right, speed: 90 mm/s }
      - travel: { to: left, speed: 90 mm/s }
    require: { unanswered commands: at most 0 }
  - name: second
    moves:
      - travel: { to: right, speed: 40 mm/s }
    require: { unanswered commands: at most 0 }
";

/// Everything that arrived, in one part.
#[derive(Default)]
struct Kept(Part);

impl CaptureSink for Kept {
    fn part(&mut self, part: &Part) {
        self.0.append(&mut part.clone());
    }

    fn mark(&mut self, _: &Mark) {}
}

impl Evidence for Kept {
    fn secure(&mut self) -> Result<(), String> {
        Ok(())
    }
}

impl Kept {
    /// When the supply first went off.
    fn off(&self) -> Tick {
        let off = self.0.driven.iter().find(|driven| driven.output == OutputChannel::UnitSupply && !driven.on);
        off.expect("the supply went off").at
    }

    /// The first sample of a channel at which the limit was passed, once the unit had its supply for a while.
    fn passed(&self, channel: SampleChannel, simulated: &Simulated, is_beyond: impl Fn(f64) -> bool) -> Tick {
        let calibration = simulated.setup.jig.calibrations[channel.index()].expect("calibrated");
        let supplied = self.0.driven.iter().find(|driven| driven.output == OutputChannel::UnitSupply).expect("on").at;
        let from = supplied + simulated.setup.jig.ticks_per_second / 5;
        let samples = self.0.samples(channel).iter().filter(|sample| sample.at >= from);
        samples.clone().find(|sample| is_beyond(calibration.value(sample.code))).expect("it was passed").at
    }
}

fn simulated() -> Simulated {
    Simulated::of(&Source::new("trips.yaml", PLAN))
}

fn run(simulated: &Simulated) -> (RunOutcome, Kept) {
    let mut kept = Kept::default();
    let outcome = simulated.run(&WorldSettings { seed: 3, ..WorldSettings::default() }, &mut kept);
    (outcome, kept)
}

/// The unit does not conform, the first check says why, and the supply went off within `within_s` of `danger`.
fn tripped(outcome: &RunOutcome, kept: &Kept, why: &str, danger: Tick, within_s: f64) {
    assert_eq!(outcome.decision, Decision::DoesNotConform, "{:?}", outcome.invalid_because);
    let findings = &outcome.checks[0].findings;
    assert!(findings.iter().any(|finding| finding.contains(why)), "{findings:?}");
    let took_s = (kept.off() as f64 - danger as f64) / 2e6;
    println!("{why}: off after {:.1} ms", took_s * 1e3);
    assert!((0.0..=within_s).contains(&took_s), "{why}: {took_s} s");
}

/// Nothing was switched on again: the second check was not carried out.
fn ended(outcome: &RunOutcome) {
    assert!(outcome.checks[1].not_carried_out.is_some(), "{:?}", outcome.checks[1]);
}

#[test]
fn a_healthy_unit_trips_nothing() {
    for simulated in [simulated(), Simulated::shipped("quick")] {
        let (outcome, _) = run(&simulated);
        assert_eq!(outcome.decision, Decision::Conforms, "{:?}", outcome.checks);
    }
}

#[test]
fn over_current() {
    let mut simulated = simulated();
    simulated.protection.trips.pack_current_max = 0.3;
    let (outcome, kept) = run(&simulated);
    let danger = kept.passed(SampleChannel::PackCurrent, &simulated, |ampere| ampere > 0.3);
    tripped(&outcome, &kept, "the pack's current is above the jig's trip of 0.3 A", danger, AT_ONCE_S);
    ended(&outcome);
}

#[test]
fn an_empty_pack() {
    let mut simulated = simulated();
    simulated.protection.trips.pack_voltage_min = 8.9;
    let (outcome, kept) = run(&simulated);
    let danger = kept.passed(SampleChannel::PackVoltage, &simulated, |volt| volt < 8.9);
    tripped(&outcome, &kept, "the pack's voltage is below the jig's trip of 8.9 V", danger, AFTER_BRAKING_S);
    ended(&outcome);
}

#[test]
fn over_temperature() {
    for motor in [true, false] {
        let mut simulated = simulated();
        let trips = &mut simulated.protection.trips;
        let (channel, limit, why) = if motor {
            (SampleChannel::MotorTemperature, &mut trips.motor_temperature_max, "the motor's temperature is above")
        } else {
            (
                SampleChannel::HousingTemperature,
                &mut trips.housing_temperature_max,
                "the housing's temperature is above",
            )
        };
        *limit = 5.0;
        let (outcome, kept) = run(&simulated);
        // Twice beyond: thermometers are read a few times a second, and the second reading counts.
        let second = kept.0.samples(channel).iter().map(|sample| sample.at).nth(1).expect("two readings");
        let supplied = kept.0.driven[0].at;
        tripped(&outcome, &kept, why, second.max(supplied), AT_ONCE_S);
        ended(&outcome);
    }
}

#[test]
fn a_motor_that_goes_on_beyond_an_end() {
    let mut simulated = simulated();
    simulated.protection.trips.overrun_max = 1e-3;
    let (outcome, kept) = run(&simulated);
    // The first contact with enough speed to overrun by a millimetre is the right end at 90 mm/s.
    let contact = kept.0.edges(EdgeChannel::RightEndStop).iter().find(|edge| edge.level() && edge.tick() > 0);
    let contact = contact.expect("it was touched").tick();
    let steps: Vec<Tick> = kept.0.edges(EdgeChannel::Step).iter().map(|step| step.tick()).collect();
    let danger = steps[steps.partition_point(|step| *step <= contact) + 80];
    tripped(&outcome, &kept, "went on for more than 1 mm after the right end stop had closed", danger, AT_ONCE_S);
    assert!(outcome.checks[1].not_carried_out.is_none(), "the rest of the plan was carried out");
}

#[test]
fn a_motor_that_is_stepped_although_it_was_told_to_stop() {
    let text =
        PLAN.replace("- travel: { to: left, speed: 90 mm/s }", "- stop: { towards: left, speed: 40 mm/s, after: 2 s }");
    let mut simulated = Simulated::of(&Source::new("trips.yaml", text));
    (simulated.protection.trips.run_on_max, simulated.protection.braking_s) = (0.005, 0.0);
    let (outcome, kept) = run(&simulated);
    let last = kept.0.edges(EdgeChannel::Step).iter().map(|step| step.tick()).filter(|step| *step <= kept.off());
    // Braking from 40 mm/s takes 25 ms; it is beyond its 5 ms after the first of them.
    tripped(&outcome, &kept, "was told to stop and was still stepping", last.max().expect("steps") - 50_000, 0.05);
}

/// A jig one of whose interlocks opens at a moment, and that knows when it was made safe.
struct Opening<'c, J, C> {
    jig: J,
    clock: &'c C,
    channel: EdgeChannel,
    at: HostTime,
    opened: Option<Tick>,
    off: Option<Tick>,
}

impl<J: Jig, C: Clock> Opening<'_, J, C> {
    fn open(&mut self, into: &mut Part) {
        if self.opened.is_none() && self.clock.now() >= self.at {
            let (tick, _) = self.jig.tick_at(self.at);
            into.push_edge(self.channel, tick, false);
            self.opened = Some(tick);
        }
    }
}

impl<J: Jig, C: Clock> Jig for Opening<'_, J, C> {
    fn identity(&self) -> &JigIdentity {
        self.jig.identity()
    }

    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError> {
        self.jig.drive(output, on)
    }

    fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
        self.jig.collect(into)?;
        self.open(into);
        Ok(())
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        let at = self.jig.settle(into)?;
        self.open(into);
        Ok(at)
    }

    fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
        self.jig.tick_at(moment)
    }

    fn make_safe(&mut self) -> Result<(), JigError> {
        self.jig.make_safe()?;
        self.off.get_or_insert(self.jig.tick_at(self.clock.now()).0);
        Ok(())
    }
}

/// Both cut the supply by their own wires; the bench follows, and the run proves nothing.
#[test]
fn an_emergency_stop_and_a_guard_that_opens() {
    let simulated = simulated();
    for (channel, why) in [(EdgeChannel::EmergencyStop, "emergency stop"), (EdgeChannel::Guard, "guard")] {
        let mut slowest = 0.0_f64;
        // In the start-up, on the way home, and at full speed.
        for ms in [300, 2_507, 12_013, 16_019, 20_003] {
            let world = WorldSettings { seed: 3, ..WorldSettings::default() };
            let (clock, mut port, jig) = sim::bench(World::new(&world), time::OffsetDateTime::UNIX_EPOCH);
            let at = clock.now().after(Duration::from_millis(ms));
            let mut jig = Opening { jig, clock: &clock, channel, at, opened: None, off: None };
            let mut bench = Bench { clock: &clock, port: &mut port, jig: &mut jig, unit: &simulated.unit };
            let (mut kept, uninterrupted) = (Kept::default(), AtomicBool::new(false));
            let outcome =
                simulated.run_on(&mut bench, &world.serial, &mut kept, &uninterrupted, &mut common::Unwatched);
            assert_eq!(outcome.decision, Decision::Invalid);
            assert!(outcome.invalid_because[0].contains(why), "{:?}", outcome.invalid_because);
            let (opened, off) = (jig.opened.expect("it opened"), jig.off.expect("it was made safe"));
            slowest = slowest.max((off - opened) as f64 / 2e6);
        }
        println!("{why}: off after {:.1} ms at most", slowest * 1e3);
        assert!(slowest <= AT_ONCE_S, "{why}: {slowest} s");
    }
}

/// Says that it goes home, and stays where it is.
struct Stuck;

impl Firmware for Stuck {
    fn wakes(&mut self) -> Vec<Said> {
        vec![says(800, "DUNLIN 600 READY FW 1.4.0 SN SP-0001")]
    }

    fn told(&mut self, _: u64, line: &str) -> Vec<Said> {
        match line {
            "WHO" => vec![says(2, "I AM DUNLIN 600 FW 1.4.0 SN SP-0001")],
            other => vec![says(2, &format!("OK {other}"))],
        }
    }
}

#[test]
fn a_unit_that_stands_still_although_it_was_told_to_move() {
    let checks = "checks:
  - name: stuck
    moves: [ { power: on }, { home: left } ]
    require: { unexpected restarts: at most 0 }
";
    let mut fitted = Fitted::new("fixtures/units/dunlin-600.yaml", |file| file.replace("SM-", "SP-"), checks);
    fitted.protection.edges = vec![EdgeChannel::Step];
    let bench = Scripted::new(Stuck);
    let outcome =
        fitted.run(&bench, &mut Answering::new(Vec::new(), true), &mut Marks::default(), &mut scripted::Unwatched);
    assert_eq!(outcome.decision, Decision::DoesNotConform, "{:?}", outcome.invalid_because);
    let finding = &outcome.checks[0].findings[0];
    assert!(finding.contains("told to move and made no step for 5 s"), "{finding}");
    let script = bench.0.borrow();
    assert!(script.told.iter().any(|line| line == "STOP"), "it is told to stop first: {:?}", script.told);
    assert!(script.on.is_empty(), "and is then without supply");
}
