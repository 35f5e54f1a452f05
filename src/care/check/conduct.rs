//! Carries out what needs no motion, the unit's supply off: sends pulses, switches references, waits for the clocks. The
//! interlocks are watched at all times, and the outputs are off on every way out.

use super::{Proof, load, loop_back, reading, ticking};
use crate::capture::{CaptureSink, OutputChannel, Part};
use crate::clock::HostTime;
use crate::jig::{JigError, JigFile, LoopBack};
use crate::port::PortError;
use crate::run::{Bench, interlock};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// The longest that nobody looks at interlocks and interruptions.
const SLICE: Duration = Duration::from_millis(20);
/// How long a value may take to settle behind its switch: filters, thermometers that convert for 750 ms.
const SETTLING: Duration = Duration::from_millis(1500);
/// How long a value is read: thermometers give one reading a second.
const READING: Duration = Duration::from_millis(5000);
/// How long the last pulse of a wire is waited for.
const LATE: Duration = Duration::from_millis(200);

/// Why nothing is proven.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// Somebody interrupted.
    #[error("interrupted; the outputs are off")]
    Interrupted,
    /// The jig failed.
    #[error("jig: {0}")]
    Jig(#[from] JigError),
    /// The unit's port failed, where the bench's time passes.
    #[error("unit link: {0}")]
    Port(#[from] PortError),
    /// An interlock opened, or evidence was lost.
    #[error("{0}")]
    Stopped(String),
}

/// Holds the jig against its references. All that it stamps meanwhile goes to `evidence` as well.
///
/// # Errors
/// An interlock that opened, evidence that was lost, a port that failed, an interruption: nothing is proven then.
pub fn prove(
    jig: &JigFile,
    bench: &mut Bench<'_>,
    interrupted: &AtomicBool,
    evidence: &mut dyn CaptureSink,
) -> Result<Vec<Proof>, Trouble> {
    let mut session = Session { jig, bench, interrupted, evidence, bytes: Vec::new() };
    let proofs = session.all();
    // Whatever happened before, this is tried; the first trouble is the one that is told.
    let safe = session.bench.jig.make_safe();
    let proofs = proofs?;
    safe?;
    Ok(proofs)
}

struct Session<'s, 'b> {
    jig: &'s JigFile,
    bench: &'s mut Bench<'b>,
    interrupted: &'s AtomicBool,
    evidence: &'s mut dyn CaptureSink,
    /// What a unit without supply should not say.
    bytes: Vec<u8>,
}

impl Session<'_, '_> {
    fn all(&mut self) -> Result<Vec<Proof>, Trouble> {
        let references = &self.jig.references;
        let mut proofs = Vec::new();
        // The first look states the level of every input; the clocks get to know each other meanwhile.
        self.watch(Duration::from_secs(1))?;
        let began = self.moment();
        for wire in &references.loop_backs {
            let part = self.pulses(wire)?;
            proofs.extend(loop_back::proofs(wire, &part, self.jig));
        }
        proofs.extend(self.values()?);
        if let Some(reference) = &references.load {
            let part = self.settled(Some(OutputChannel::DummyLoad))?;
            proofs.push(load::proof(reference, &part, self.jig));
        }
        match (ticking::not_checked(self.jig), &references.clock) {
            (None, Some(reference)) => {
                let until = began.host.after(Duration::from_secs_f64(reference.over_s));
                self.watch_until(until)?;
                proofs.insert(0, ticking::proof(reference, began, self.moment(), self.jig));
            }
            (not_checked, _) => proofs.extend(not_checked),
        }
        Ok(proofs)
    }

    /// Sends the pulses of a wire, and hands out all that happened meanwhile.
    fn pulses(&mut self, wire: &LoopBack) -> Result<Part, Trouble> {
        let half = Duration::from_secs_f64(0.5 * wire.every_s);
        let mut part = Part::default();
        for pulse in 0..2 * wire.pulses {
            self.drive(wire.from, pulse % 2 == 0)?;
            part.append(&mut self.watch(half)?);
        }
        part.append(&mut self.watch(LATE)?);
        Ok(part)
    }

    /// Reads every known value: first those that are always there, then one switch after the other.
    fn values(&mut self) -> Result<Vec<Proof>, Trouble> {
        let values = &self.jig.references.values;
        let mut switches: Vec<Option<OutputChannel>> = values.iter().map(|value| value.by).collect();
        switches.sort_by_key(|by| by.map(OutputChannel::index));
        switches.dedup();
        let mut proofs = Vec::new();
        for by in switches {
            let part = self.settled(by)?;
            for value in values.iter().filter(|value| value.by == by) {
                proofs.push(reading::proof(value, part.samples(value.channel), self.jig));
            }
        }
        Ok(proofs)
    }

    /// What is read once an output has been on for a moment; it is off again then.
    fn settled(&mut self, by: Option<OutputChannel>) -> Result<Part, Trouble> {
        by.map_or(Ok(()), |output| self.drive(output, true))?;
        self.watch(SETTLING)?;
        let part = self.watch(READING)?;
        by.map_or(Ok(()), |output| self.drive(output, false))?;
        Ok(part)
    }

    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<(), Trouble> {
        self.bench.jig.drive(output, on)?;
        Ok(())
    }

    fn moment(&self) -> ticking::Moment {
        let host = self.bench.clock.now();
        let (tick, doubt) = self.bench.jig.tick_at(host);
        ticking::Moment { host, tick, doubt }
    }

    /// Lets the bench go on for a time, and hands out what it stamped until then.
    fn watch(&mut self, wait: Duration) -> Result<Part, Trouble> {
        self.watch_until(self.bench.clock.now().after(wait))
    }

    fn watch_until(&mut self, until: HostTime) -> Result<Part, Trouble> {
        let mut part = Part::default();
        loop {
            if self.interrupted.load(Ordering::Relaxed) {
                return Err(Trouble::Interrupted);
            }
            let now = self.bench.clock.now();
            let mut fresh = Part::default();
            if now >= until {
                self.bench.jig.settle(&mut fresh)?;
                self.look(&fresh)?;
                part.append(&mut fresh);
                return Ok(part);
            }
            self.bytes.clear();
            self.bench.port.receive(&mut self.bytes, until.min(now.after(SLICE)))?;
            self.bench.jig.collect(&mut fresh)?;
            self.look(&fresh)?;
            part.append(&mut fresh);
        }
    }

    /// Looks whether the check may go on.
    fn look(&mut self, fresh: &Part) -> Result<(), Trouble> {
        self.evidence.part(fresh);
        let stop = interlock(fresh).or_else(|| fresh.losses.first().map(|loss| loss.what.clone()));
        stop.map_or(Ok(()), |why| Err(Trouble::Stopped(why)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{EdgeChannel, Tick};
    use crate::clock::Clock;
    use crate::jig::{Jig, JigIdentity};
    use crate::sim::{self, SimClock, SimJig, World, WorldSettings};
    use crate::unit::Unit;
    use crate::written::Source;

    fn files() -> (JigFile, Unit) {
        let jig = include_str!("../../../fixtures/jigs/simulated.yaml");
        let unit = include_str!("../../../fixtures/units/dunlin-600.yaml");
        let jig = JigFile::read(&Source::new("jig.yaml", jig)).unwrap_or_else(|problems| panic!("{}", problems[0]));
        let unit = Unit::read(&Source::new("unit.yaml", unit)).unwrap_or_else(|problems| panic!("{}", problems[0]));
        (jig, unit)
    }

    /// A jig on which something happens, so many seconds into the check.
    struct Troubled<'a> {
        jig: SimJig,
        clock: SimClock,
        after_s: u64,
        happens: &'a dyn Fn(&mut Part),
        /// Outputs that are on.
        on: Vec<OutputChannel>,
    }

    impl Jig for Troubled<'_> {
        fn identity(&self) -> &JigIdentity {
            self.jig.identity()
        }

        fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError> {
            self.on.retain(|other| *other != output);
            if on {
                self.on.push(output);
            }
            self.jig.drive(output, on)
        }

        fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
            if self.clock.now() >= HostTime::default().after(Duration::from_secs(self.after_s)) {
                (self.happens)(into);
            }
            self.jig.collect(into)
        }

        fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
            self.jig.settle(into)
        }

        fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
            self.jig.tick_at(moment)
        }

        fn make_safe(&mut self) -> Result<(), JigError> {
            self.on.clear();
            self.jig.make_safe()
        }
    }

    /// How a check ends on which something happens, and what of the jig is on then.
    fn troubled(after_s: u64, happens: &dyn Fn(&mut Part), stop: &AtomicBool) -> (Result<usize, Trouble>, usize) {
        let (file, unit) = files();
        let (clock, mut port, jig) =
            sim::bench(World::new(&WorldSettings::default()), time::OffsetDateTime::UNIX_EPOCH);
        let mut jig = Troubled { jig, clock: clock.clone(), after_s, happens, on: Vec::new() };
        let mut bench = Bench { clock: &clock, port: &mut port, jig: &mut jig, unit: &unit };
        let proofs = prove(&file, &mut bench, stop, &mut crate::care::Usage::default());
        (proofs.map(|proofs| proofs.len()), jig.on.len())
    }

    #[test]
    fn whatever_happens_the_outputs_are_off_and_nothing_is_proven() {
        let never = AtomicBool::new(false);
        let opened = |channel| move |part: &mut Part| part.push_edge(channel, 0, false);
        let lost = |part: &mut Part| {
            part.losses.push(crate::capture::Loss { at: 0, what: "7 frames of the board".into() });
        };
        // While pulses are sent, while a reference is switched on, while the clocks are waited for.
        for after_s in [2, 14, 28] {
            for (happens, why) in [
                (&opened(EdgeChannel::EmergencyStop) as &dyn Fn(&mut Part), "emergency stop"),
                (&opened(EdgeChannel::Guard), "guard is open"),
                (&lost, "7 frames"),
            ] {
                let (ended, on) = troubled(after_s, happens, &never);
                assert!(matches!(&ended, Err(Trouble::Stopped(said)) if said.contains(why)), "{after_s} s: {ended:?}");
                assert_eq!(on, 0, "{after_s} s");
            }
            let stop = AtomicBool::new(false);
            let (ended, on) = troubled(after_s, &|_| stop.store(true, Ordering::Relaxed), &stop);
            assert_eq!((ended, on), (Err(Trouble::Interrupted), 0));
        }
        let (ended, on) = troubled(1000, &|_| {}, &never);
        assert_eq!((ended, on), (Ok(13), 0), "three for each of two wires, five values, the load, the clock");
    }
}
