//! A simulated world behind two serial ports: the unit's line on one pseudo terminal, a capture board on another, in real
//! time or faster. Any program can talk to them, and finds a bench that is as limited as a real one: a link of so many
//! bytes a second, a board of so much memory, a watchdog that does not wait.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use super::board::{self, Asked, Introduction, Voice};
use super::{SimTime, TICKS_PER_SECOND, World};
use crate::capture::{EdgeChannel, OutputChannel, Part, SampleChannel};
use crate::clock::{Clock, ComputerClock, HostTime};
use crate::port::{Port, PortError, Pty};

/// How long the world may run on before bench and unit are listened to again, in its own time.
const SLICE: Duration = Duration::from_millis(1);
/// After a hold-up the world catches up in pieces of this length, so that no part grows without limit.
const CATCH_UP_NS: SimTime = 20_000_000;
/// Without a heartbeat for so long, in the computer's time, the board puts all outputs into their safe state.
const WATCHDOG: Duration = Duration::from_millis(250);
/// How much one slice counts towards that at most: a computer that held this process up has held up the bench as well,
/// where a real board would have gone on hearing it.
const SILENCE_PER_SLICE: Duration = Duration::from_millis(10);
/// The longest burst of the board's link, in its own time: what a USB packet buffer evens out.
const BURST_S: f64 = 0.02;
/// Segments of the unit's light bar that the board watches.
const LIGHTS: usize = 6;

/// How a world is served.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ServeSettings {
    /// Seconds of the world in one of the computer's.
    pub scale: f64,
    /// What the board's link carries, bytes in a second of the world.
    pub link_bytes_per_s: f64,
}

impl Default for ServeSettings {
    /// Real time, over a link of 1 Mbaud with ten bits a byte.
    fn default() -> Self {
        Self { scale: 1.0, link_bytes_per_s: 100_000.0 }
    }
}

/// What the supply relay did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heard {
    /// The bench switched it on.
    SupplyOn,
    /// The bench switched it off.
    SupplyOff,
    /// The board switched it off, since the bench had fallen silent.
    WatchdogOff,
}

/// A world that is being served.
pub struct Served {
    world: World,
    settings: ServeSettings,
    /// The computer's clock, for waiting and for the watchdog.
    computer: ComputerClock,
    /// The world's.
    clock: ComputerClock,
    began: HostTime,
    unit: Pty,
    board: Pty,
    voice: Voice,
    started: bool,
    levels: [bool; EdgeChannel::ALL.len()],
    outputs: [bool; OutputChannel::COUNT],
    /// When the last slice looked, by the computer's clock.
    looked: HostTime,
    /// How long no heartbeat has come.
    silence: Duration,
    /// Bytes that the link may carry now.
    allowance: f64,
    part: Part,
    asked: Vec<Asked>,
    bytes: Vec<u8>,
}

impl Served {
    /// Opens both ports for a world at its beginning. Its time runs from the first [`Served::slice`] on.
    pub fn open(world: World, settings: ServeSettings) -> Result<Self, PortError> {
        let computer = ComputerClock::new();
        let clock = ComputerClock::scaled(settings.scale);
        Ok(Self {
            world,
            settings,
            began: clock.now(),
            looked: computer.now(),
            silence: Duration::ZERO,
            unit: Pty::open(computer.clone())?,
            board: Pty::open(computer.clone())?,
            computer,
            clock,
            voice: Voice::default(),
            started: false,
            levels: [false; EdgeChannel::ALL.len()],
            outputs: [false; OutputChannel::COUNT],
            allowance: 0.0,
            part: Part::default(),
            asked: Vec::new(),
            bytes: Vec::new(),
        })
    }

    /// Name of the port that the unit is on.
    pub fn unit_port(&self) -> &str {
        self.unit.name()
    }

    /// Name of the port that the capture board is on.
    pub fn board_port(&self) -> &str {
        self.board.name()
    }

    /// The world, for what only a simulated one can tell.
    pub fn world(&self) -> &World {
        &self.world
    }

    /// Serves until `stop`, and tells what somebody at the bench would hear: the supply relay.
    pub fn serve(&mut self, stop: &AtomicBool, mut told: impl FnMut(Heard)) -> Result<(), PortError> {
        let mut supplied = false;
        while !stop.load(Ordering::Relaxed) {
            self.slice()?;
            if self.world.supply_is_on() != supplied {
                supplied = !supplied;
                told(match (supplied, self.silence > WATCHDOG) {
                    (true, _) => Heard::SupplyOn,
                    (false, false) => Heard::SupplyOff,
                    (false, true) => Heard::WatchdogOff,
                });
            }
        }
        Ok(())
    }

    /// Waits for the bench for a moment at most, then brings world, unit and board up to now.
    pub fn slice(&mut self) -> Result<(), PortError> {
        self.bytes.clear();
        let wait = SLICE.div_f64(self.settings.scale.max(0.1));
        Pty::wait_for_any(&[&self.board, &self.unit], self.computer.now().after(wait))?;
        self.board.receive(&mut self.bytes, HostTime::default())?;
        let now = self.computer.now();
        self.silence += now.since(self.looked).min(SILENCE_PER_SLICE);
        self.looked = now;
        self.catch_up();
        self.voice.hear(&self.bytes, &mut self.asked);
        for asked in std::mem::take(&mut self.asked) {
            self.answer(asked);
        }
        if self.silence > WATCHDOG {
            self.make_safe(0);
        }
        self.carry_unit_link()?;
        self.carry_board_link()
    }

    /// Lets the world pass up to now, the board saying what it stamps.
    fn catch_up(&mut self) {
        let now = self.clock.now().since(self.began).as_nanos() as SimTime;
        while self.world.now() < now {
            let from = self.world.now();
            let until = now.min(from + CATCH_UP_NS);
            self.world.advance(until, &mut self.part);
            self.say_part();
            let passed_s = (until - from) as f64 * 1e-9;
            let most = self.settings.link_bytes_per_s * BURST_S;
            self.allowance = (self.allowance + passed_s * self.settings.link_bytes_per_s).min(most.max(1.0));
        }
    }

    /// Says what is in the part, and remembers levels.
    fn say_part(&mut self) {
        for channel in EdgeChannel::ALL {
            if let Some(last) = self.part.edges(channel).last() {
                self.levels[channel as usize] = last.level();
            }
        }
        if self.started {
            self.voice.stream(&self.part, self.world.tick_now());
        }
        self.part.clear();
    }

    fn answer(&mut self, asked: Asked) {
        let now = self.world.tick_now();
        match asked {
            Asked::Hello { version } => {
                self.started = false;
                self.make_safe(0);
                self.voice.forget();
                if version == board::VERSION {
                    self.introduce();
                } else {
                    self.voice.refuse(0, board::UNKNOWN_VERSION);
                }
            }
            Asked::Start => {
                self.started = true;
                self.silence = Duration::ZERO;
                let levels = self.levels.iter().rev().fold(0, |bits, &level| bits << 1 | u16::from(level));
                self.voice.started(now, levels.to_le_bytes());
            }
            Asked::Unknown => self.voice.refuse(0, board::UNKNOWN_TYPE),
            Asked::Drive { request, .. } | Asked::Settle { request } | Asked::Safe { request } if !self.started => {
                self.voice.refuse(request, board::NOT_STARTED);
            }
            Asked::Heartbeat { number } => {
                self.silence = Duration::ZERO;
                if self.started {
                    self.voice.beat(number, now);
                }
            }
            Asked::Drive { request, output, on } => match driven_output(output) {
                Some(output) => self.switch(request, output, on),
                None => self.voice.refuse(request, board::NO_SUCH_OUTPUT),
            },
            Asked::Settle { request } => {
                self.world.settle_samples(&mut self.part);
                self.say_part();
                self.voice.settled(request, now);
            }
            Asked::Safe { request } => {
                self.make_safe(request);
                self.voice.settled(request, now);
            }
        }
    }

    fn introduce(&mut self) {
        let watched = |channel| !matches!(channel, SampleChannel::Light(segment) if usize::from(segment) >= LIGHTS);
        let samples = (0..SampleChannel::COUNT).filter(|&index| SampleChannel::at(index).is_some_and(watched));
        let outputs = (0..OutputChannel::COUNT as u8).filter(|&output| driven_output(output).is_some());
        self.voice.introduce(&Introduction {
            ticks_per_second: TICKS_PER_SECOND as u32,
            scale_thousandths: (self.settings.scale * 1000.0).round() as u32,
            edges: u8::MAX,
            controls: (1 << World::CONTROLS) - 1,
            outputs: outputs.fold(0, |bits, output| bits | 1 << output),
            samples: samples.fold(0, |bits, index| bits | 1 << index),
            text: concat!("simulated capture board of railproof ", env!("CARGO_PKG_VERSION")),
        });
    }

    fn switch(&mut self, request: u8, output: OutputChannel, on: bool) {
        let at = self.world.drive(output, on, &mut self.part);
        self.outputs[output.index()] = on;
        self.say_part();
        self.voice.switched(request, output, on, at);
    }

    fn make_safe(&mut self, request: u8) {
        for output in (0..OutputChannel::COUNT).filter_map(OutputChannel::at) {
            if self.outputs[output.index()] {
                self.switch(request, output, false);
            }
        }
    }

    /// A serial line waits for nobody: what the bench does not take is gone.
    fn carry_unit_link(&mut self) -> Result<(), PortError> {
        self.bytes.clear();
        self.world.take_said(&mut self.bytes);
        self.unit.send_some(&self.bytes)?;
        self.bytes.clear();
        if self.unit.receive(&mut self.bytes, HostTime::default())? > 0 {
            self.world.unit_hears(&self.bytes);
        }
        Ok(())
    }

    fn carry_board_link(&mut self) -> Result<(), PortError> {
        let count = self.voice.outgoing().len().min(self.allowance as usize);
        if count > 0 {
            let sent = self.board.send_some(&self.voice.outgoing()[..count])?;
            self.voice.sent(sent);
            self.allowance -= sent as f64;
        }
        Ok(())
    }
}

/// The output with this number, where the board has it.
fn driven_output(number: u8) -> Option<OutputChannel> {
    OutputChannel::at(number.into()).filter(|output| World::has_output(*output))
}
