//! The Raspberry Pi jig, through rppal.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender, bounded};
use rppal::gpio::{Event, Gpio, InputPin, Level, OutputPin, Trigger};
use rppal::i2c::I2c;
use rppal::system::DeviceInfo;

use super::intake::{Intake, Seen, code};
use super::{BusAddress, PiOutput, PiWiring};
use crate::capture::{Driven, EdgeChannel, OutputChannel, Part, SampleChannel, Tick};
use crate::clock::{Clock, ComputerClock, HostTime};
use crate::jig::{Jig, JigError, JigIdentity};

/// The kernel stamps in nanoseconds.
const TICKS_PER_SECOND: u64 = 1_000_000_000;
/// How much the threads may be ahead of the run: seconds of a unit at full speed.
const BACKLOG: usize = 1 << 18;
/// How long an edge may take from the kernel to here.
const EDGE_DELAY: Duration = Duration::from_millis(20);
/// How long the kernel may take to arm an interrupt.
const ARMING: Duration = Duration::from_millis(50);
/// Half a period of the keep-alive pin.
const KEEP_ALIVE: Duration = Duration::from_millis(25);
/// Standard uncertainty of reading the clock, which is the kernel's own, in ticks.
const CLOCK_DOUBT: Tick = 1000;
/// The I2C bus on the pin header.
const BUS: u8 = 1;
/// How long a transfer on the bus may take, in the kernel's units.
const BUS_TIMEOUT_MS: u32 = 50;

/// Opens the pins and the bus; all outputs are safe.
pub fn open(wiring: &PiWiring, clock: &ComputerClock) -> Result<Box<dyn Jig>, JigError> {
    let device = DeviceInfo::new().map_err(|error| JigError::Absent {
        what: format!("this computer is no Raspberry Pi ({error}), and the jig file asks for its pins"),
        remedy: "run on the bench's Raspberry Pi, or choose another jig file".to_owned(),
    })?;
    Ok(Box::new(PiJig::open(wiring, clock, &device.model().to_string())?))
}

struct PiJig {
    identity: JigIdentity,
    clock: ComputerClock,
    origin: HostTime,
    inputs: Vec<(EdgeChannel, InputPin)>,
    outputs: Vec<(PiOutput, OutputPin)>,
    seen: Receiver<Seen>,
    overflow: Arc<AtomicUsize>,
    intake: Intake,
    waiting: Part,
    stop: Arc<AtomicBool>,
    keeper: Option<JoinHandle<()>>,
}

impl PiJig {
    fn open(wiring: &PiWiring, clock: &ComputerClock, model: &str) -> Result<Self, JigError> {
        let gpio = Gpio::new().map_err(|error| absent(format!("the pins cannot be used: {error}")))?;
        let take = |pin: u8| gpio.get(pin).map_err(|error| absent(format!("pin {pin} cannot be used: {error}")));
        let mut outputs = Vec::new();
        for &output in &wiring.outputs {
            let pin = take(output.pin)?;
            let mut pin = if output.active_high { pin.into_output_low() } else { pin.into_output_high() };
            // The safe level stays when the pin is let go.
            pin.set_reset_on_drop(false);
            outputs.push((output, pin));
        }
        let keep_alive = take(wiring.keep_alive)?.into_output_low();
        let bus = if wiring.samples.is_empty() { None } else { Some(open_bus()?) };

        let origin = clock.now();
        let (to, seen) = bounded(BACKLOG);
        let reporter = Reporter { to, overflow: Arc::new(AtomicUsize::new(0)), clock: clock.clone(), origin };
        let mut inputs = Vec::new();
        for &(channel, number) in &wiring.edges {
            let mut pin = take(number)?.into_input();
            let trigger = if channel == EdgeChannel::Step { Trigger::RisingEdge } else { Trigger::Both };
            let reporter = reporter.clone();
            pin.set_async_interrupt(trigger, None, move |event| reporter.edge(channel, event))
                .map_err(|error| absent(format!("pin {number} gives no interrupts: {error}")))?;
            inputs.push((channel, pin));
        }
        clock.sleep_until(clock.now().after(ARMING));
        let (mut intake, mut waiting) = (Intake::default(), Part::default());
        for (channel, pin) in &inputs {
            intake.begin(*channel, pin.is_high(), &mut waiting);
        }
        let stop = Arc::new(AtomicBool::new(false));
        let overflow = Arc::clone(&reporter.overflow);
        let keeper = Keeper { bus, samples: wiring.samples.clone(), keep_alive, reporter, stop: Arc::clone(&stop) };
        let keeper = std::thread::Builder::new()
            .name("pi jig".to_owned())
            .spawn(move || keeper.keep())
            .map_err(|error| absent(format!("no thread could be started for the jig: {error}")))?;
        let describes = format!("pins of a {model}");
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
            stop,
            keeper: Some(keeper),
        })
    }

    fn switch(&mut self, index: usize, on: bool) -> Tick {
        let (output, pin) = &mut self.outputs[index];
        pin.write(if on == output.active_high { Level::High } else { Level::Low });
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
        if self.keeper.as_ref().is_none_or(JoinHandle::is_finished) {
            return Err(absent("the thread that reads the jig's bus has ended".to_owned()));
        }
        Ok(())
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        let now = self.clock.now();
        let at = now.since(self.origin).as_nanos() as Tick;
        // Of `step` only rising edges are stamped, so its level proves nothing.
        let watched = self.inputs.iter().filter(|(channel, _)| *channel != EdgeChannel::Step);
        let levels: Vec<(EdgeChannel, bool)> = watched.map(|(channel, pin)| (*channel, pin.is_high())).collect();
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
        self.stop.store(true, Ordering::Relaxed);
        if let Some(keeper) = self.keeper.take() {
            // A thread that panicked has stopped toggling, which is what stopping it is for.
            let _ = keeper.join();
        }
    }
}

fn absent(what: String) -> JigError {
    let remedy = "check the jig file's pins and addresses, the rights of the group `gpio`, and that I2C is switched on";
    JigError::Absent { what, remedy: remedy.to_owned() }
}

fn open_bus() -> Result<I2c, JigError> {
    let bus = I2c::with_bus(BUS).map_err(|error| absent(format!("I2C bus {BUS} cannot be used: {error}")))?;
    bus.set_timeout(BUS_TIMEOUT_MS).map_err(|error| absent(format!("I2C bus {BUS} takes no timeout: {error}")))?;
    Ok(bus)
}

/// Takes what a thread sees to the run.
#[derive(Clone)]
struct Reporter {
    to: Sender<Seen>,
    overflow: Arc<AtomicUsize>,
    clock: ComputerClock,
    origin: HostTime,
}

impl Reporter {
    fn edge(&self, channel: EdgeChannel, event: Event) {
        let at = self.tick(self.clock.at_monotonic(event.timestamp));
        let level = event.trigger == Trigger::RisingEdge;
        self.report(Seen::Edge { channel, number: event.seqno, at, level });
    }

    fn report(&self, seen: Seen) {
        if self.to.try_send(seen).is_err() {
            self.overflow.fetch_add(1, Ordering::Relaxed);
        }
    }

    fn tick(&self, moment: HostTime) -> Tick {
        moment.since(self.origin).as_nanos() as Tick
    }
}

/// The thread that reads the bus and toggles the keep-alive pin.
struct Keeper {
    bus: Option<I2c>,
    samples: Vec<(SampleChannel, BusAddress)>,
    keep_alive: OutputPin,
    reporter: Reporter,
    stop: Arc<AtomicBool>,
}

impl Keeper {
    fn keep(mut self) {
        let clock = self.reporter.clock.clone();
        let mut toggle_due = clock.now();
        let mut due = vec![clock.now(); self.samples.len()];
        while !self.stop.load(Ordering::Relaxed) {
            let now = clock.now();
            if now >= toggle_due {
                self.keep_alive.toggle();
                toggle_due = now.after(KEEP_ALIVE);
            }
            for (index, due) in due.iter_mut().enumerate() {
                if now >= *due {
                    self.read(index);
                    let next = due.after(Duration::from_secs_f64(1.0 / self.samples[index].1.rate));
                    *due = next.max(now);
                }
            }
            clock.sleep_until(due.iter().copied().fold(toggle_due, HostTime::min));
        }
        self.keep_alive.set_low();
    }

    fn read(&mut self, index: usize) {
        let Some(bus) = &mut self.bus else { return };
        let (channel, address) = self.samples[index];
        let mut register = [0; 2];
        let before = self.reporter.clock.now();
        let read = bus
            .set_slave_address(address.device.into())
            .and_then(|()| bus.write_read(&[address.register], &mut register));
        let at = self.reporter.tick(before.after(self.reporter.clock.now().since(before) / 2));
        self.reporter.report(match read {
            Ok(()) => Seen::Sample { channel, at, code: code(register, address.shift) },
            Err(error) => Seen::Missed { channel, at, why: error.to_string() },
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_computer_without_pins_says_so() {
        let wiring = PiWiring { edges: Vec::new(), outputs: Vec::new(), samples: Vec::new(), keep_alive: 26 };
        let opened = open(&wiring, &ComputerClock::new());
        match DeviceInfo::new() {
            Ok(_) => assert!(opened.is_ok_and(|jig| !jig.identity().simulated)),
            Err(_) => {
                let told = opened.err().expect("no pins").to_string();
                assert!(told.starts_with("this computer is no Raspberry Pi"), "{told}");
                assert!(told.ends_with("run on the bench's Raspberry Pi, or choose another jig file"), "{told}");
            }
        }
    }
}
