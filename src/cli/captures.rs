//! Captures that a command is given: ours, value change dumps and tables, told apart by their content.

use super::{Exit, Failure};
use crate::capture::csv::CsvReader;
use crate::capture::file::CaptureReader;
use crate::capture::vcd::VcdReader;
use crate::capture::{Calibrations, CaptureSink, Channel, EdgeChannel, ForeignError, Rules, SampleChannel, Tick, Wire};
use crate::measure::Setup;
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

impl WireArgs {
    /// A foreign capture has the channels that the user named and no other, and its own clock's ticks.
    ///
    /// # Errors
    /// A channel without calibration; an encoder without a scale.
    pub fn narrow(&self, setup: &mut Setup, ticks_per_second: u64, assumed: &mut Vec<String>) -> Result<(), Failure> {
        let is_wired = |channel: Channel| self.channels.iter().any(|wire| wire.channel == channel);
        let jig = &mut setup.jig;
        jig.ticks_per_second = ticks_per_second;
        jig.edges = EdgeChannel::ALL.into_iter().filter(|channel| is_wired(Channel::Edge(*channel))).collect();
        for channel in (0..SampleChannel::COUNT).filter_map(SampleChannel::at) {
            let calibration = &mut jig.calibrations[channel.index()];
            if !is_wired(Channel::Sample(channel)) {
                *calibration = None;
            } else if calibration.is_none() {
                let why = format!("the jig file has no channel `{}`; add it there, or leave out --jig", channel.name());
                return Err(Failure::new(Exit::BadInput, anyhow!(why)));
            }
        }
        let has_encoder = [EdgeChannel::EncoderA, EdgeChannel::EncoderB].iter().all(|track| jig.edges.contains(track));
        if has_encoder && jig.encoder_edges_per_metre <= 0.0 {
            let why =
                "the encoder's scale is not known; add --encoder, for example --encoder '40 edges/mm', or a jig file";
            return Err(Failure::new(Exit::Usage, anyhow!(why)));
        }
        if has_encoder && !jig.edges.contains(&EdgeChannel::Direction) {
            jig.edges.push(EdgeChannel::Direction);
            assumed.push("the steps went where the encoder went, since there is no direction line".into());
        }
        Ok(())
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
    Ours(CaptureReader<File>),
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

    /// Hands everything to `sink`, in order; returns the last moment of a foreign capture.
    pub fn replay(self, calibrations: &Calibrations, sink: &mut dyn CaptureSink) -> Result<Tick, Failure> {
        let done = match self.kind {
            Kind::Ours(reader) => reader.replay(sink).map(|_| 0).map_err(anyhow::Error::from),
            Kind::Dump(reader) => reader.replay(calibrations, sink).map(|taken| taken.ended).map_err(Into::into),
            Kind::Table(reader) => reader.replay(calibrations, sink).map(|taken| taken.ended).map_err(Into::into),
        };
        done.map_err(|error| Failure::new(Exit::BadInput, error.context(self.name)))
    }

    fn fail(&self, error: ForeignError) -> Failure {
        Failure::new(Exit::BadInput, anyhow::Error::from(error).context(self.name.clone()))
    }
}
