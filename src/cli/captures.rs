//! Captures that a command is given: ours, value change dumps and tables, told apart by their content.

use super::{Exit, Failure};
use crate::capture::csv::CsvReader;
use crate::capture::file::CaptureReader;
use crate::capture::vcd::VcdReader;
use crate::capture::{Calibrations, CaptureSink, Channel, EdgeChannel, ForeignError, Rules, Tick, Wire};
use crate::quantity::{Dimension, Quantity};
use crate::unit::Unit;
use anyhow::anyhow;
use clap::Args;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Which signals of a foreign capture are which channels, and what is a rest in it.
#[derive(Debug, Clone, Args)]
pub struct WireArgs {
    /// A signal of a foreign capture and the channel that it is: step=D0, "encoder a=bus[3]", "pack voltage=ain0@1.25 mV"
    /// (one unit of ain0 is worth 1.25 mV); may be repeated
    #[arg(long = "channel", value_name = "CHANNEL=NAME", value_parser = Wire::parse)]
    pub channels: Vec<Wire>,
    /// In a foreign capture no step for longer than this is a rest between two motions
    #[arg(long, value_name = "TIME", default_value = "150 ms", value_parser = rest)]
    pub rest: Quantity,
}

fn rest(text: &str) -> Result<Quantity, String> {
    let time = Quantity::parse(text, Dimension::Time).map_err(|misread| misread.to_string())?;
    if time.si() > 0.0 { Ok(time) } else { Err("write for example 150 ms".into()) }
}

impl WireArgs {
    /// What tells motions of this unit apart.
    pub fn rules(&self, unit: &Unit, ticks_per_second: f64) -> Rules {
        let facts = &unit.facts;
        Rules {
            rest: (self.rest.si() * ticks_per_second) as Tick,
            crawl_interval: (facts.crawl_interval * ticks_per_second) as Tick,
            crawl_steps: (facts.crawl_increment * facts.steps_per_metre).round() as u64,
            has_direction: self.channels.iter().any(|wire| wire.channel == Channel::Edge(EdgeChannel::Direction)),
        }
    }
}

/// So many bytes tell what a file is.
const LOOKED_AT: u64 = 4096;

/// A capture whose kind and clock are known.
pub struct OpenCapture {
    name: String,
    kind: Kind,
}

/// The three kinds of capture.
enum Kind {
    Ours(CaptureReader),
    Dump(VcdReader<File>),
    Table(CsvReader<Box<dyn Fn() -> io::Result<File>>>),
}

impl OpenCapture {
    /// Opens a capture and finds the wires' signals in a foreign one.
    ///
    /// # Errors
    /// What is wrong with the file; wires where they are not wanted, none where they are.
    pub fn open(path: &Path, wires: &[Wire]) -> Result<Self, Failure> {
        let name = path.display().to_string();
        let fail = |error: anyhow::Error| Failure::new(Exit::BadInput, error.context(name.clone()));
        let mut head = Vec::new();
        let begin = |head: &mut Vec<u8>| File::open(path)?.take(LOOKED_AT).read_to_end(head);
        begin(&mut head).map_err(|error| fail(anyhow!("cannot be read: {error}; check the path and the rights")))?;
        let first = head.iter().find(|byte| !byte.is_ascii_whitespace());
        // Ours begins with a byte that no text begins with.
        if head.starts_with(b"\xF5") {
            if !wires.is_empty() {
                let why = anyhow!("{name} is a capture of railproof and knows its channels; leave out --channel");
                return Err(Failure::new(Exit::Usage, why));
            }
            let ours = File::open(path).map_err(Into::into).and_then(CaptureReader::open);
            return Ok(Self { kind: Kind::Ours(ours.map_err(|error| fail(error.into()))?), name });
        }
        if wires.is_empty() {
            let why = anyhow!("{name}: which signal is which channel? add --channel, for example --channel step=D0");
            return Err(Failure::new(Exit::Usage, why));
        }
        let kind = if first == Some(&b'$') {
            let file = File::open(path).map_err(ForeignError::from);
            file.and_then(|file| VcdReader::open(file, wires)).map(Kind::Dump)
        } else {
            let path = path.to_owned();
            let open: Box<dyn Fn() -> io::Result<File>> = Box::new(move || File::open(&path));
            CsvReader::open(open, wires).map(Kind::Table)
        };
        Ok(Self { kind: kind.map_err(|error| fail(error.into()))?, name })
    }

    /// Whether another instrument made it.
    pub fn is_foreign(&self) -> bool {
        !matches!(self.kind, Kind::Ours(_))
    }

    /// Ticks of its clock in a second.
    pub fn ticks_per_second(&self) -> u64 {
        match &self.kind {
            Kind::Ours(reader) => reader.ticks_per_second(),
            Kind::Dump(reader) => reader.ticks_per_second(),
            Kind::Table(reader) => reader.ticks_per_second(),
        }
    }

    /// What its times tell apart, s.
    pub fn resolution_s(&self) -> f64 {
        match &self.kind {
            Kind::Table(reader) => reader.resolution_s(),
            _ => 1.0 / self.ticks_per_second() as f64,
        }
    }

    /// Calibrations of a perfect jig, for a foreign capture; ours has codes whose worth only its jig file says.
    pub fn perfect_calibrations(&self) -> Result<Calibrations, Failure> {
        match &self.kind {
            Kind::Ours(_) => Ok(Default::default()),
            Kind::Dump(reader) => reader.perfect_calibrations().map_err(|error| self.fail(error)),
            Kind::Table(reader) => reader.perfect_calibrations().map_err(|error| self.fail(error)),
        }
    }

    /// Hands everything to `sink`, in order.
    pub fn replay(self, calibrations: &Calibrations, sink: &mut dyn CaptureSink) -> Result<(), Failure> {
        let done = match self.kind {
            Kind::Ours(reader) => {
                reader.replay(sink);
                Ok(())
            }
            Kind::Dump(reader) => reader.replay(calibrations, sink).map(drop),
            Kind::Table(reader) => reader.replay(calibrations, sink).map(drop),
        };
        done.map_err(|error| Failure::new(Exit::BadInput, anyhow::Error::from(error).context(self.name)))
    }

    fn fail(&self, error: ForeignError) -> Failure {
        Failure::new(Exit::BadInput, anyhow::Error::from(error).context(self.name.clone()))
    }
}
