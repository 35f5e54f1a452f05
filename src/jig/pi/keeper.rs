//! The threads that read a jig's buses and toggle its keep-alive pin.
//!
//! One thread keeps the I2C bus and the keep-alive pin together, so that the pin stops where the bus hangs. One-wire
//! thermometers take most of a second for a reading and have a thread of their own.

use super::PiWiring;
use super::bench::absent;
use super::chips::{self, Chip};
use super::header::{Header, LineEdge, Output};
use super::intake::Seen;
use crate::capture::{EdgeChannel, SampleChannel, Tick};
use crate::clock::{Clock, ComputerClock, HostTime};
use crate::jig::{JigError, SampleSource, SampleWire};
use crossbeam_channel::{Sender, bounded};
use embedded_hal::i2c::I2c;
use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

/// Half a period of the keep-alive pin.
const KEEP_ALIVE: Duration = Duration::from_millis(25);
/// How often a thread that has nothing else to do looks whether it should end.
const LOOK: Duration = Duration::from_millis(100);

/// The threads; they end with this.
pub struct Keepers {
    stop: Arc<AtomicBool>,
    threads: Vec<JoinHandle<()>>,
}

impl Keepers {
    /// Whether one of them has ended on its own, which is a fault of the program or of a bus.
    pub fn have_ended(&self) -> bool {
        self.threads.iter().any(JoinHandle::is_finished)
    }
}

impl Drop for Keepers {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        for thread in self.threads.drain(..) {
            // A thread that panicked has stopped toggling, which is what stopping it is for.
            let _ = thread.join();
        }
    }
}

/// Takes what a thread sees to the run.
#[derive(Clone)]
pub struct Reporter {
    /// Where it goes.
    pub to: Sender<Seen>,
    /// What found no room there.
    pub overflow: Arc<AtomicUsize>,
    /// The computer's clock.
    pub clock: ComputerClock,
    /// Tick 0.
    pub origin: HostTime,
}

impl Reporter {
    /// Reports an edge.
    pub fn edge(&self, channel: EdgeChannel, edge: LineEdge) {
        let at = self.tick(self.clock.at_monotonic(edge.monotonic));
        self.report(Seen::Edge { channel, number: edge.number, at, level: edge.high });
    }

    fn report(&self, seen: Seen) {
        if self.to.try_send(seen).is_err() {
            self.overflow.fetch_add(1, Ordering::Relaxed);
        }
    }

    fn tick(&self, moment: HostTime) -> Tick {
        moment.since(self.origin).as_nanos() as Tick
    }

    /// Reads a chip and reports what it says; the moment is the middle of the reading.
    fn sample(&self, channel: SampleChannel, chip: &mut dyn Chip) {
        let before = self.clock.now();
        let read = chip.read();
        let at = self.tick(before.after(self.clock.now().since(before) / 2));
        self.report(match read {
            Ok(code) => Seen::Sample { channel, at, code },
            Err(why) => Seen::Missed { channel, at, why },
        });
    }
}

/// Starts the threads, and waits until all chips are prepared.
///
/// # Errors
/// The bus that cannot be opened, or the chip that does not answer, by the name of its channel.
pub fn start<H: Header>(
    wiring: &PiWiring,
    header: &mut H,
    keep_alive: Box<dyn Output>,
    reporter: &Reporter,
) -> Result<Keepers, JigError> {
    let is_one_wire = |wire: &SampleWire| matches!(wire.source, SampleSource::OneWire { .. });
    let (slow, quick): (Vec<_>, Vec<_>) = wiring.samples.iter().copied().partition(|(_, wire)| is_one_wire(wire));
    let bus = if quick.is_empty() { None } else { Some(header.bus().map_err(absent)?) };
    let devices = header.one_wire().to_owned();
    let mut keepers = Keepers { stop: Arc::new(AtomicBool::new(false)), threads: Vec::new() };
    let stop = Arc::clone(&keepers.stop);
    let thread = reporter.clone();
    keepers.threads.push(spawn("pi jig", move |ready| {
        let prepared = bus.map_or(Ok(Vec::new()), |bus| on_bus(&quick, bus));
        if let Some(chips) = tell(prepared, &ready) {
            Keeper { chips, keep_alive: Some(keep_alive), reporter: thread, stop }.keep();
        }
    })?);
    if !slow.is_empty() {
        let (stop, reporter) = (Arc::clone(&keepers.stop), reporter.clone());
        keepers.threads.push(spawn("pi jig, one wire", move |ready| {
            if let Some(chips) = tell(on_one_wire(&slow, &devices), &ready) {
                Keeper { chips, keep_alive: None, reporter, stop }.keep();
            }
        })?);
    }
    Ok(keepers)
}

/// Starts a thread and waits until it says that its chips are ready, or which is not.
fn spawn(
    name: &str,
    body: impl FnOnce(Sender<Result<(), String>>) + Send + 'static,
) -> Result<JoinHandle<()>, JigError> {
    let (ready, is_ready) = bounded(1);
    let thread = std::thread::Builder::new()
        .name(name.to_owned())
        .spawn(move || body(ready))
        .map_err(|error| absent(format!("no thread could be started for the jig: {error}")))?;
    match is_ready.recv() {
        Ok(Ok(())) => Ok(thread),
        Ok(Err(why)) => Err(absent(why)),
        Err(_) => Err(absent("the thread that reads the jig's buses broke down while it began".to_owned())),
    }
}

fn tell(prepared: Result<Chips, String>, ready: &Sender<Result<(), String>>) -> Option<Chips> {
    let (said, chips) = match prepared {
        Ok(chips) => (Ok(()), Some(chips)),
        Err(why) => (Err(why), None),
    };
    ready.send(said).ok().and(chips)
}

/// Chips with their channels and readings per second.
type Chips = Vec<(SampleChannel, f64, Box<dyn Chip>)>;

fn on_bus<B: I2c + 'static>(wires: &[(SampleChannel, SampleWire)], bus: B) -> Result<Chips, String> {
    let bus = Rc::new(RefCell::new(bus));
    prepared(wires, |source| chips::on_bus(source, &bus))
}

fn on_one_wire(wires: &[(SampleChannel, SampleWire)], devices: &Path) -> Result<Chips, String> {
    prepared(wires, |source| chips::on_one_wire(source, devices))
}

fn prepared(
    wires: &[(SampleChannel, SampleWire)],
    prepare: impl Fn(SampleSource) -> Option<Result<Box<dyn Chip>, String>>,
) -> Result<Chips, String> {
    let prepared = wires.iter().filter_map(|(channel, wire)| Some((channel, wire.rate, prepare(wire.source)?)));
    prepared
        .map(|(channel, rate, chip)| match chip {
            Ok(chip) => Ok((*channel, rate, chip)),
            Err(why) => Err(format!("`{}` cannot be read: {why}", channel.name())),
        })
        .collect()
}

/// A thread's work.
struct Keeper {
    chips: Chips,
    keep_alive: Option<Box<dyn Output>>,
    reporter: Reporter,
    stop: Arc<AtomicBool>,
}

impl Keeper {
    fn keep(mut self) {
        let clock = self.reporter.clock.clone();
        let (mut toggle_due, mut high) = (clock.now(), false);
        let mut due = vec![clock.now(); self.chips.len()];
        while !self.stop.load(Ordering::Relaxed) {
            let now = clock.now();
            if now >= toggle_due {
                high = !high;
                toggle_due = now.after(if self.keep_alive.is_some() { KEEP_ALIVE } else { LOOK });
                self.keep_alive.iter_mut().for_each(|line| line.set(high));
            }
            for ((channel, rate, chip), due) in self.chips.iter_mut().zip(&mut due) {
                if now >= *due {
                    self.reporter.sample(*channel, chip.as_mut());
                    *due = due.after(Duration::from_secs_f64(1.0 / *rate)).max(now);
                }
            }
            clock.sleep_until(due.iter().copied().fold(toggle_due, HostTime::min));
        }
        self.keep_alive.iter_mut().for_each(|line| line.set(false));
    }
}
