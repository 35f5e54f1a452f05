//! The one place where a bench is chosen: simulated in process, or real ports with a capture board or a Raspberry Pi.

use super::world::WorldArgs;
use super::{Exit, Failure};
use crate::clock::{Clock, ComputerClock};
use crate::jig::capture_board::{CaptureBoard, Expected};
use crate::jig::pi::{self, PiWiring};
use crate::jig::{Jig, JigFile, JigKind};
use crate::port::{Port, SerialPort, SerialSettings};
use crate::record::stored::Origin;
use crate::sim::{self, Reference};
use crate::unit::Unit;
use anyhow::{Context, anyhow};
use clap::Args;

/// Bits per second of a capture board's port: what its microcontroller's UART can do; a board with USB of its own ignores it.
const BOARD_BAUD: u32 = 1_000_000;

/// Which bench.
#[derive(Debug, Clone, Args)]
pub struct Choice {
    /// Serial port of the unit, instead of the jig file's
    #[arg(long, value_name = "PORT")]
    unit_port: Option<String>,
    /// Serial port of the capture board, instead of the jig file's
    #[arg(long, value_name = "PORT")]
    board_port: Option<String>,
    #[command(flatten)]
    world: WorldArgs,
}

/// A bench that is open.
pub struct OpenBench {
    pub clock: Box<dyn Clock>,
    pub port: Box<dyn Port>,
    pub jig: Box<dyn Jig>,
    /// Sets a reference where the world is one that can, and says whether it could; nobody has to turn a knob then.
    pub reference: Option<Box<dyn Fn(Reference) -> bool>>,
}

impl OpenBench {
    /// Whether the world behind it is simulated, as its jig says.
    pub fn simulated(&self) -> bool {
        self.jig.identity().simulated
    }

    /// Where a run on it comes from.
    pub fn origin(&self) -> Origin {
        if self.simulated() { Origin::Simulated } else { Origin::Bench }
    }
}

impl Choice {
    /// The bench of a simulated world.
    pub fn simulated(world: WorldArgs) -> Self {
        Self { unit_port: None, board_port: None, world }
    }

    /// Opens the bench that the jig file describes.
    ///
    /// # Errors
    /// What is missing, and what to do about it. Nothing has moved then.
    pub fn open(&self, unit: &Unit, jig: &JigFile, serial: &str) -> Result<OpenBench, Failure> {
        match jig.kind {
            JigKind::Simulated => {
                let world = self.world.world(unit, jig, serial)?;
                let (clock, port, jig) = sim::bench(world, ComputerClock::new().wall());
                let world = clock.clone();
                let reference = Box::new(move |reference| world.connect(reference));
                let (clock, port, jig) = (Box::new(clock), Box::new(port), Box::new(jig));
                Ok(OpenBench { clock, port, jig, reference: Some(reference) })
            }
            JigKind::CaptureBoard => self.capture_board(unit, jig),
            JigKind::RaspberryPi => self.raspberry_pi(unit, jig),
        }
    }

    /// Whether it names a port, which can be that of one bench alone.
    pub fn names_ports(&self) -> bool {
        self.unit_port.is_some() || self.board_port.is_some()
    }

    /// Seed and faults of the world, where the jig file's world is simulated in process.
    pub fn world_facts(&self, jig: &JigFile) -> (Option<u64>, Vec<String>) {
        match jig.kind {
            JigKind::Simulated => (Some(self.world.seed), self.world.fault_names()),
            JigKind::CaptureBoard | JigKind::RaspberryPi => (None, Vec::new()),
        }
    }

    fn capture_board(&self, unit: &Unit, jig: &JigFile) -> Result<OpenBench, Failure> {
        let clock = ComputerClock::new();
        let name = port_name(self.board_port.as_ref(), jig.board_port.as_ref(), "capture board", "--board-port")?;
        let settings = SerialSettings::at(BOARD_BAUD);
        let port = SerialPort::open(&name, settings, clock.clone()).map_err(invalid)?;
        let (edges, samples, outputs) = (jig.edge_channels(), jig.sample_channels(), jig.output_channels());
        let expected = Expected {
            ticks_per_second: jig.clock.ticks_per_second,
            edges: &edges,
            samples: &samples,
            outputs: &outputs,
        };
        let board = CaptureBoard::open(Box::new(port), clock, &expected)
            .with_context(|| format!("{name}: no capture board"))
            .map_err(|error| Failure { exit: Exit::Invalid, error })?;
        let clock = board.clock();
        let port = self.unit_link(unit, jig, clock.clone())?;
        Ok(OpenBench { clock: Box::new(clock), port: Box::new(port), jig: Box::new(board), reference: None })
    }

    fn raspberry_pi(&self, unit: &Unit, jig: &JigFile) -> Result<OpenBench, Failure> {
        let wiring = PiWiring::of(jig).map_err(invalid)?;
        let clock = ComputerClock::new();
        let pins = pi::open(&wiring, &clock).map_err(invalid)?;
        let port = self.unit_link(unit, jig, clock.clone())?;
        Ok(OpenBench { clock: Box::new(clock), port: Box::new(port), jig: pins, reference: None })
    }

    fn unit_link(&self, unit: &Unit, jig: &JigFile, clock: ComputerClock) -> Result<SerialPort, Failure> {
        let name = port_name(self.unit_port.as_ref(), jig.unit_port.as_ref(), "unit", "--unit-port")?;
        SerialPort::open(&name, unit.link.serial, clock).map_err(invalid)
    }
}

fn port_name(given: Option<&String>, filed: Option<&String>, whose: &str, option: &str) -> Result<String, Failure> {
    given.or(filed).cloned().ok_or_else(|| {
        let why = format!("the jig file names no port of the {whose}; add one there, or give {option}");
        Failure::new(Exit::Usage, anyhow!(why))
    })
}

fn invalid(error: impl Into<anyhow::Error>) -> Failure {
    Failure::new(Exit::Invalid, error)
}
