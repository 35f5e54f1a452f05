//! The jig on a pin header, whoever's it is: edges from the kernel's interrupts, samples from the buses' threads, outputs.

use super::header::{Header, Input, LineEdge, Output};
use super::intake::{Intake, Seen};
use super::keeper::{self, Keepers, Reporter};
use super::{PiOutput, PiWiring};
use crate::capture::{Driven, EdgeChannel, OutputChannel, Part, Tick};
use crate::clock::{Clock, ComputerClock, HostTime};
use crate::jig::{Jig, JigError, JigIdentity};
use crossbeam_channel::{Receiver, bounded};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

/// The kernel stamps in nanoseconds.
const TICKS_PER_SECOND: u64 = 1_000_000_000;
/// How much the threads may be ahead of the run: seconds of a unit at full speed.
const BACKLOG: usize = 1 << 18;
/// How long an edge may take from the kernel to here.
const EDGE_DELAY: Duration = Duration::from_millis(20);
/// How long the kernel may take to arm an interrupt.
const ARMING: Duration = Duration::from_millis(50);
/// Standard uncertainty of reading the clock, which is the kernel's own, in ticks.
const CLOCK_DOUBT: Tick = 1000;

/// A jig on a pin header.
pub struct PiJig {
    identity: JigIdentity,
    clock: ComputerClock,
    origin: HostTime,
    inputs: Vec<(EdgeChannel, Box<dyn Input>)>,
    outputs: Vec<(PiOutput, Box<dyn Output>)>,
    seen: Receiver<Seen>,
    overflow: Arc<AtomicUsize>,
    intake: Intake,
    waiting: Part,
    keepers: Keepers,
    /// Behind all that uses the pins, so that it goes last.
    _reserved: Box<dyn Send>,
}

impl PiJig {
    /// Takes the pins of a header, prepares the chips on its buses and begins to watch. All outputs are safe.
    ///
    /// # Errors
    /// A pin, the bus or a chip that cannot be used, by its name.
    pub fn open<H: Header>(wiring: &PiWiring, clock: &ComputerClock, header: &mut H) -> Result<Self, JigError> {
        let reserved = header.reserve().map_err(|why| JigError::Absent {
            what: format!("the pins of this {} cannot be used: {why}", header.describes()),
            remedy: "end the run or the program that has them, then run again".to_owned(),
        })?;
        let mut outputs = Vec::new();
        for &output in &wiring.outputs {
            let line = header.output(output.pin, !output.active_high);
            let line = line.map_err(|why| unusable(output.pin, &output.channel.name(), &why))?;
            outputs.push((output, line));
        }
        let keep_alive = header.output(wiring.keep_alive, false);
        let keep_alive = keep_alive.map_err(|why| unusable(wiring.keep_alive, "keep alive", &why))?;

        let origin = clock.now();
        let (to, seen) = bounded(BACKLOG);
        let reporter = Reporter { to, overflow: Arc::new(AtomicUsize::new(0)), clock: clock.clone(), origin };
        let mut inputs = Vec::new();
        for &(channel, pin) in &wiring.edges {
            let reporter = reporter.clone();
            let tell = Box::new(move |edge: LineEdge| reporter.edge(channel, edge));
            let line = header.input(pin, channel == EdgeChannel::Step, tell);
            inputs.push((channel, line.map_err(|why| unusable(pin, channel.name(), &why))?));
        }
        clock.sleep_until(clock.now().after(ARMING));
        let (mut intake, mut waiting) = (Intake::default(), Part::default());
        for (channel, line) in &inputs {
            intake.begin(*channel, line.is_high(), &mut waiting);
        }
        let overflow = Arc::clone(&reporter.overflow);
        let keepers = keeper::start(wiring, header, keep_alive, &reporter)?;
        let describes = format!("pins of a {}", header.describes());
        Ok(Self {
            identity: JigIdentity { describes, ticks_per_second: TICKS_PER_SECOND, simulated: false },
            clock: clock.clone(),
            origin,
            inputs,
            outputs,
            seen,
            overflow,
            intake,
            waiting,
            keepers,
            _reserved: reserved,
        })
    }

    fn switch(&mut self, index: usize, on: bool) -> Tick {
        let (output, line) = &mut self.outputs[index];
        line.set(on == output.active_high);
        let at = self.clock.now().since(self.origin).as_nanos() as Tick;
        self.waiting.driven.push(Driven { at, output: output.channel, on });
        at
    }
}

impl Jig for PiJig {
    fn identity(&self) -> &JigIdentity {
        &self.identity
    }

    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError> {
        let index = self.outputs.iter().position(|(wired, _)| wired.channel == output);
        let index = index.ok_or_else(|| JigError::NoChannel { channel: output.name() })?;
        Ok(self.switch(index, on))
    }

    fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
        into.edges.iter_mut().zip(&mut self.waiting.edges).for_each(|(column, first)| column.append(first));
        into.driven.append(&mut self.waiting.driven);
        for seen in self.seen.try_iter() {
            self.intake.take(seen, into);
        }
        self.intake.overflowed(self.overflow.swap(0, Ordering::Relaxed), into);
        if self.keepers.have_ended() {
            return Err(absent("the thread that reads the jig's buses has ended".to_owned()));
        }
        Ok(())
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        let now = self.clock.now();
        let at = now.since(self.origin).as_nanos() as Tick;
        // Of `step` only rising edges are stamped, so its level proves nothing.
        let watched = self.inputs.iter().filter(|(channel, _)| *channel != EdgeChannel::Step);
        let levels: Vec<(EdgeChannel, bool)> = watched.map(|(channel, line)| (*channel, line.is_high())).collect();
        self.clock.sleep_until(now.after(EDGE_DELAY));
        self.collect(into)?;
        self.intake.settle(at, levels, into);
        Ok(at)
    }

    fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
        (moment.since(self.origin).as_nanos() as Tick, CLOCK_DOUBT)
    }

    fn make_safe(&mut self) -> Result<(), JigError> {
        for index in 0..self.outputs.len() {
            self.switch(index, false);
        }
        Ok(())
    }
}

impl Drop for PiJig {
    fn drop(&mut self) {
        for index in 0..self.outputs.len() {
            self.switch(index, false);
        }
    }
}

fn unusable(pin: u8, name: &str, why: &str) -> JigError {
    absent(format!("pin {pin} of `{name}` cannot be used: {why}"))
}

/// Something of the jig that is not there, or not as the jig file says.
pub(super) fn absent(what: String) -> JigError {
    let remedy = "check the jig file's pins and addresses, the wires, the rights of the group `gpio`, and that I2C is switched on";
    JigError::Absent { what, remedy: remedy.to_owned() }
}
