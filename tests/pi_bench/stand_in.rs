//! A stand-in for a Raspberry Pi's pin header, with the simulated world on its pins and the chips on its buses, in real time.
//!
//! The chips answer as their data sheets say, register by register; none of the jig's own code is used here.

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use railproof::capture::{EdgeChannel, OutputChannel, Part, SampleChannel};
use railproof::clock::{Clock, ComputerClock, HostTime};
use railproof::jig::pi::PiWiring;
use railproof::jig::pi::header::{Header, Input, LineEdge, Output};
use railproof::port::{MemoryPort, Port};
use railproof::sim::{TICKS_PER_SECOND, World, WorldSettings};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, MutexGuard};
use std::thread::JoinHandle;
use std::time::Duration;

/// Nanoseconds of a tick of the simulated jig's clock.
const NS_PER_TICK: u64 = 1_000_000_000 / TICKS_PER_SECOND;

/// What can go wrong on purpose.
#[derive(Default)]
pub struct Trouble {
    /// The next edge of an end stop is lost on its way through the kernel.
    pub lose_an_edge: AtomicBool,
    /// The converters have fallen off the bus.
    pub no_converters: AtomicBool,
}

/// A header whose world lives in a thread of its own until it is dropped.
pub struct StandIn {
    bench: Arc<Mutex<Behind>>,
    pub trouble: Arc<Trouble>,
    pub keep_alive: Arc<AtomicUsize>,
    keep_alive_pin: u8,
    channels: HashMap<u8, OutputChannel>,
    edges: HashMap<u8, EdgeChannel>,
    one_wire: PathBuf,
    stop: Arc<AtomicBool>,
    living: Option<JoinHandle<()>>,
}

/// The world behind the pins.
struct Behind {
    world: World,
    part: Part,
    began: Duration,
    lines: Vec<Line>,
    levels: [bool; EdgeChannel::ALL.len()],
    codes: HashMap<usize, i32>,
    link: MemoryPort,
    one_wire: [PathBuf; 3],
    trouble: Arc<Trouble>,
}

struct Line {
    channel: EdgeChannel,
    rising: bool,
    told: u32,
    tell: Box<dyn FnMut(LineEdge) + Send>,
}

fn monotonic() -> Duration {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Monotonic);
    Duration::new(now.tv_sec as u64, now.tv_nsec as u32)
}

impl StandIn {
    /// A header as a wiring has it, with a unit that talks over `link`. One-wire thermometers appear under `one_wire`.
    pub fn new(wiring: &PiWiring, settings: &WorldSettings, link: MemoryPort, one_wire: &Path) -> Self {
        let thermometers = ["28-0316a2795bff", "28-0316a27a1d04", "28-0316a2773ac8"].map(|name| {
            let folder = one_wire.join(name);
            std::fs::create_dir_all(&folder).expect("a folder");
            folder.join("temperature")
        });
        let trouble = Arc::new(Trouble::default());
        let mut behind = Behind {
            world: World::new(settings),
            part: Part::default(),
            began: monotonic(),
            lines: Vec::new(),
            levels: [false; EdgeChannel::ALL.len()],
            codes: HashMap::new(),
            link,
            one_wire: thermometers,
            trouble: Arc::clone(&trouble),
        };
        behind.catch_up();
        let bench = Arc::new(Mutex::new(behind));
        let stop = Arc::new(AtomicBool::new(false));
        let (behind, stopped) = (Arc::clone(&bench), Arc::clone(&stop));
        let living = std::thread::spawn(move || {
            let clock = ComputerClock::new();
            let mut heard = Vec::new();
            while !stopped.load(Ordering::Relaxed) {
                clock.sleep_until(clock.now().after(Duration::from_millis(1)));
                let mut behind = locked(&behind);
                while behind.link.receive(&mut heard, clock.now()).is_ok_and(|count| count > 0) {}
                behind.catch_up();
                behind.world.unit_hears(&heard);
                heard.clear();
            }
        });
        Self {
            bench,
            trouble,
            keep_alive: Arc::default(),
            keep_alive_pin: wiring.keep_alive,
            channels: wiring.outputs.iter().map(|output| (output.pin, output.channel)).collect(),
            edges: wiring.edges.iter().map(|(channel, pin)| (*pin, *channel)).collect(),
            one_wire: one_wire.to_owned(),
            stop,
            living: Some(living),
        }
    }

    /// Whether the unit has its supply.
    pub fn supply_is_on(&self) -> bool {
        locked(&self.bench).world.supply_is_on()
    }
}

impl Drop for StandIn {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        let living = self.living.take().map(JoinHandle::join);
        assert!(std::thread::panicking() || living.is_none_or(|living| living.is_ok()));
    }
}

fn locked(behind: &Arc<Mutex<Behind>>) -> MutexGuard<'_, Behind> {
    behind.lock().expect("nobody broke down")
}

impl Behind {
    /// Lets the world live up to now and tells what it did.
    fn catch_up(&mut self) {
        let now = (monotonic() - self.began).as_nanos() as u64;
        self.world.advance(now, &mut self.part);
        self.tell();
        let mut said = Vec::new();
        self.world.take_said(&mut said);
        if !said.is_empty() {
            let soon = HostTime::from_nanos(u64::MAX);
            // A bench that is over hears nothing.
            let _ = self.link.send(&said, soon);
        }
    }

    fn tell(&mut self) {
        for channel in EdgeChannel::ALL {
            for edge in self.part.edges(channel) {
                self.levels[channel as usize] = edge.level();
                let at = self.began + Duration::from_nanos(edge.tick() * NS_PER_TICK);
                let lines = self.lines.iter_mut().filter(|line| line.channel == channel);
                for line in lines.filter(|line| edge.level() || !line.rising) {
                    line.told += 1;
                    let is_end_stop = matches!(channel, EdgeChannel::LeftEndStop | EdgeChannel::RightEndStop);
                    if !(is_end_stop && self.trouble.lose_an_edge.swap(false, Ordering::Relaxed)) {
                        (line.tell)(LineEdge { monotonic: at, number: line.told, high: edge.level() });
                    }
                }
            }
        }
        for index in 0..SampleChannel::COUNT {
            if let Some(sample) = self.part.samples[index].last() {
                self.codes.insert(index, sample.code);
            }
        }
        self.part.clear();
        let celsius =
            [SampleChannel::MotorTemperature, SampleChannel::HousingTemperature, SampleChannel::AirTemperature];
        for (file, channel) in self.one_wire.iter().zip(celsius) {
            let millidegrees = self.code(channel) * 125 / 2;
            // Written beside and moved, as the kernel's file is always whole.
            let beside = file.with_extension("new");
            std::fs::write(&beside, format!("{millidegrees}\n")).expect("a file");
            std::fs::rename(&beside, file).expect("a file");
        }
    }

    fn code(&self, channel: SampleChannel) -> i32 {
        self.codes.get(&channel.index()).copied().unwrap_or(0)
    }
}

impl Header for StandIn {
    type Bus = Chips;

    fn describes(&self) -> String {
        "stand-in for a pin header".to_owned()
    }

    fn reserve(&mut self) -> Result<Box<dyn Send>, String> {
        Ok(Box::new(()))
    }

    fn output(&mut self, pin: u8, high: bool) -> Result<Box<dyn Output>, String> {
        let keep_alive = (pin == self.keep_alive_pin).then(|| Arc::clone(&self.keep_alive));
        let mut line =
            OutLine { channel: self.channels.get(&pin).copied(), bench: Arc::clone(&self.bench), keep_alive };
        line.set(high);
        Ok(Box::new(line))
    }

    fn input(
        &mut self,
        pin: u8,
        rising: bool,
        tell: Box<dyn FnMut(LineEdge) + Send>,
    ) -> Result<Box<dyn Input>, String> {
        let channel = *self.edges.get(&pin).ok_or("nothing is wired to it")?;
        locked(&self.bench).lines.push(Line { channel, rising, told: 0, tell });
        Ok(Box::new(InLine { channel, bench: Arc::clone(&self.bench) }))
    }

    fn bus(&mut self) -> Result<Chips, String> {
        Ok(Chips { bench: Arc::clone(&self.bench), inputs: [0; 2], pointers: HashMap::new() })
    }

    fn one_wire(&self) -> &Path {
        &self.one_wire
    }
}

struct InLine {
    channel: EdgeChannel,
    bench: Arc<Mutex<Behind>>,
}

impl Input for InLine {
    fn is_high(&self) -> bool {
        let mut bench = locked(&self.bench);
        // The kernel is at most a moment behind its pins; so is this.
        bench.catch_up();
        bench.levels[self.channel as usize]
    }
}

struct OutLine {
    channel: Option<OutputChannel>,
    bench: Arc<Mutex<Behind>>,
    keep_alive: Option<Arc<AtomicUsize>>,
}

impl Output for OutLine {
    fn set(&mut self, high: bool) {
        if let Some(toggled) = &self.keep_alive {
            toggled.fetch_add(1, Ordering::Relaxed);
        }
        let Some(channel) = self.channel else { return };
        let mut bench = locked(&self.bench);
        bench.catch_up();
        let bench = &mut *bench;
        bench.world.drive(channel, high, &mut bench.part);
        bench.part.driven.clear();
    }
}

/// The chips on the I2C bus: a colour sensor at 0x29, a power monitor at 0x40, converters at 0x48 and 0x49.
pub struct Chips {
    bench: Arc<Mutex<Behind>>,
    /// Which input each converter was last asked to convert.
    inputs: [usize; 2],
    /// The register that each chip was last pointed at; it keeps it from one transfer to the next.
    pointers: HashMap<u8, u8>,
}

impl ErrorType for Chips {
    type Error = ErrorKind;
}

impl I2c for Chips {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let nobody = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
        for operation in operations {
            match operation {
                Operation::Write(bytes) => {
                    self.pointers.insert(address, *bytes.first().ok_or(nobody)?);
                    if let (0x48 | 0x49, [1, high, _]) = (address, &bytes[..]) {
                        // Inputs against ground are 4 to 7 of the multiplexer's eight settings.
                        self.inputs[usize::from(address - 0x48)] = usize::from((high >> 4) & 0b11);
                    }
                }
                Operation::Read(into) => {
                    let pointer = self.pointers.get(&address).copied().unwrap_or(0);
                    let word = self.register(address, pointer).ok_or(nobody)?;
                    // The colour sensor has its lower byte first, and registers of one byte.
                    let bytes = if address == 0x29 { word.to_le_bytes() } else { word.to_be_bytes() };
                    into.copy_from_slice(&bytes[..into.len()]);
                }
            }
        }
        let there = matches!(address, 0x29 | 0x40 | 0x48 | 0x49);
        if there { Ok(()) } else { Err(nobody) }
    }
}

impl Chips {
    fn register(&self, address: u8, pointer: u8) -> Option<u16> {
        let bench = locked(&self.bench);
        if address >= 0x48 && bench.trouble.no_converters.load(Ordering::Relaxed) {
            return None;
        }
        match (address, pointer) {
            (0x29, 0x92) => Some(0x44),
            (0x29, 0xB6) => Some(bench.code(SampleChannel::Red) as u16),
            (0x29, 0xB8) => Some(bench.code(SampleChannel::Green) as u16),
            (0x29, 0xBA) => Some(bench.code(SampleChannel::Blue) as u16),
            (0x40, 0xFE) => Some(0x5449),
            (0x40, 0x02) => Some(bench.code(SampleChannel::PackVoltage) as u16),
            (0x40, 0x01) => Some(bench.code(SampleChannel::PackCurrent) as i16 as u16),
            // The highest bit of the settings says that no conversion is going on.
            (0x48 | 0x49, 1) => Some(0x8583),
            (0x48 | 0x49, 0) => {
                let segment = 4 * (address - 0x48) + self.inputs[usize::from(address - 0x48)] as u8;
                let code = bench.code(SampleChannel::Light(segment));
                Some((f64::from(code) * 16_000.0 / 1024.0) as i16 as u16)
            }
            _ => None,
        }
    }
}
