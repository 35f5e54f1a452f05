//! The jig file: what a jig senses and switches, how far each of its channels is in doubt, and until when that holds.
//!
//! A wrong gain passes bad units, so every channel states its calibration and the date on which it falls due; a channel
//! without one is no channel. Whoever chooses the bench builds from this what measuring has to know.

mod channels;
mod references;
mod trips;
mod wear;
mod wires;
mod words;

pub use references::{ClockReference, LoadReference, LoopBack, References, UnitReference, ValueReference};
pub use trips::Trips;
pub use wear::{WearLimit, WearPart};

use self::references::Wired;
use crate::capture::{Calibration, EdgeChannel, OutputChannel, SampleChannel};
use crate::quantity::Dimension;
use crate::written::{Fields, Node, Notes, Problem, Source, read};
use std::collections::BTreeMap;
use time::Date;

/// What kind of jig it is, which decides who speaks to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JigKind {
    /// A simulated world in the same process.
    Simulated,
    /// A capture board on a serial port.
    CaptureBoard,
    /// The pins and the I2C bus of a Raspberry Pi.
    RaspberryPi,
}

impl JigKind {
    /// All of them.
    pub const ALL: [JigKind; 3] = [Self::Simulated, Self::CaptureBoard, Self::RaspberryPi];

    /// Its words in a jig file.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Simulated => "simulated",
            Self::CaptureBoard => "capture board",
            Self::RaspberryPi => "raspberry pi",
        }
    }
}

/// A jig as its file describes it.
#[derive(Debug, Clone, PartialEq)]
pub struct JigFile {
    /// The jig's name.
    pub name: String,
    /// Its kind.
    pub kind: JigKind,
    /// Serial port of the unit's link, where the file names one.
    pub unit_port: Option<String>,
    /// Serial port of the capture board, where the file names one.
    pub board_port: Option<String>,
    /// The clock that stamps edges and samples.
    pub clock: TickClock,
    /// The linear encoder on the carriage, where there is one.
    pub encoder: Option<Encoder>,
    /// Digital inputs.
    pub edges: Vec<EdgeInput>,
    /// Sampled channels.
    pub samples: Vec<SampleInput>,
    /// Outputs. The safe state of each is off.
    pub outputs: Vec<OutputLine>,
    /// The pin of a Raspberry Pi that toggles while the program lives, so that the supply drops when it is killed.
    pub keep_alive: Option<u8>,
    /// Digital inputs that have to be high for the unit to be supplied: `emergency stop`, `guard`.
    pub interlocks: Vec<EdgeChannel>,
    /// Limits that stop a run whatever its plan asks for.
    pub trips: Trips,
    /// Relative light above which a segment counts as lit.
    pub lit_above: f64,
    /// What it is held against before a shift.
    pub references: References,
    /// What its parts are good for, where the file says so.
    pub wear: Vec<WearLimit>,
    /// Under what conditions something was calibrated, by name as in [`JigFile::dates`], where the file says so.
    pub environments: BTreeMap<String, String>,
}

/// The clock that stamps edges and samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TickClock {
    /// Nominal ticks per second.
    pub ticks_per_second: u64,
    /// Calibrated relative error: true seconds = nominal seconds × (1 + this).
    pub error: f64,
    /// Standard uncertainty of that, relative.
    pub uncertainty: f64,
    /// Standard uncertainty of one edge's stamp beyond the tick's resolution, s.
    pub stamp_uncertainty: f64,
    /// Until when that holds.
    pub dates: Dates,
}

/// The linear encoder on the carriage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Encoder {
    /// Edges of both tracks per metre.
    pub edges_per_metre: f64,
    /// Standard uncertainty of that, relative.
    pub uncertainty: f64,
    /// Until when that holds.
    pub dates: Dates,
}

/// A digital input.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EdgeInput {
    /// What it senses.
    pub channel: EdgeChannel,
    /// Its pin, on a Raspberry Pi: the BCM number.
    pub pin: Option<u8>,
}

/// A sampled channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleInput {
    /// What it senses.
    pub channel: SampleChannel,
    /// How its codes become values.
    pub calibration: Calibration,
    /// Until when that holds.
    pub dates: Dates,
    /// What reads it, on a Raspberry Pi.
    pub wire: Option<SampleWire>,
}

/// What reads a sampled channel of a Raspberry Pi, and how often.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleWire {
    /// The chip and what is read of it.
    pub source: SampleSource,
    /// Readings per second.
    pub rate: f64,
}

/// One reading of a chip. Devices on the I2C bus have 7-bit addresses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SampleSource {
    /// A register of two bytes, the higher one first, of which `shift` low bits are no part of the code: thermometers and
    /// whatever else needs no preparation.
    Register { device: u8, register: u8, shift: u8 },
    /// A power monitor INA226: the voltage at its bus pin, or across its shunt.
    PowerMonitor { device: u8, reads: PowerReading },
    /// An input, 0 to 3, of a converter ADS1115.
    Converter { device: u8, input: u8 },
    /// A light and colour sensor TCS34725, which has one address only.
    Colour { reads: ColourReading },
    /// A thermometer DS18B20 on the one-wire bus, by its serial number of 48 bits.
    OneWire { serial: u64 },
}

/// What a power monitor measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerReading {
    /// 1.25 mV a code.
    BusVoltage,
    /// 2.5 µV a code.
    ShuntVoltage,
}

/// What a colour sensor measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColourReading {
    Clear,
    Red,
    Green,
    Blue,
}

/// An output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutputLine {
    /// What it switches.
    pub channel: OutputChannel,
    /// Its pin, on a Raspberry Pi: the BCM number.
    pub pin: Option<u8>,
    /// Whether a high level switches it on; usual relay boards switch on with a low level.
    pub active_high: bool,
}

/// When something was calibrated and until when that holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dates {
    /// The day of the calibration.
    pub calibrated: Date,
    /// The last day on which it holds.
    pub due: Date,
}

impl JigFile {
    /// Reads and checks a jig file.
    ///
    /// # Errors
    /// All mistakes that were found, in the order of the text.
    pub fn read(source: &Source) -> Result<Self, Vec<Problem>> {
        let notes = Notes::on(source);
        let root = read(&notes);
        let jig = root.as_ref().and_then(|root| whole(root, &notes));
        notes.finish(jig)
    }

    /// Digital inputs that it has.
    pub fn edge_channels(&self) -> Vec<EdgeChannel> {
        self.edges.iter().map(|input| input.channel).collect()
    }

    /// Sampled channels that it has.
    pub fn sample_channels(&self) -> Vec<SampleChannel> {
        self.samples.iter().map(|input| input.channel).collect()
    }

    /// Outputs that it has.
    pub fn output_channels(&self) -> Vec<OutputChannel> {
        self.outputs.iter().map(|output| output.channel).collect()
    }

    /// Calibration of each sample channel that it has, by [`SampleChannel::index`].
    pub fn calibrations(&self) -> [Option<Calibration>; SampleChannel::COUNT] {
        let mut calibrations = [None; SampleChannel::COUNT];
        for input in &self.samples {
            calibrations[input.channel.index()] = Some(input.calibration);
        }
        calibrations
    }

    /// Everything that has been calibrated, by name: `clock`, `encoder`, and the sampled channels.
    pub fn dates(&self) -> Vec<(String, Dates)> {
        let encoder = self.encoder.iter().map(|encoder| ("encoder".to_owned(), encoder.dates));
        let samples = self.samples.iter().map(|input| (input.channel.name(), input.dates));
        std::iter::once(("clock".to_owned(), self.clock.dates)).chain(encoder).chain(samples).collect()
    }

    /// What is past its calibration on a day, by name.
    pub fn overdue(&self, today: Date) -> Vec<(String, Dates)> {
        self.dates().into_iter().filter(|(_, dates)| today > dates.due).collect()
    }
}

fn whole(root: &Node, notes: &Notes) -> Option<JigFile> {
    let file = Fields::of(root, "a jig file", "jig: bench one", notes)?;
    let name = file.need_word("jig", "bench one").map(|word| word.text.trim().to_owned());
    let kind = file.need_parsed("kind", "capture board", words::kind);
    let usual = channels::usual_dates(&file);
    let (unit_port, board_port) = ports(&file, kind);
    let clock = file.need_fields("clock", "{ rate: 2 MHz, … }").and_then(|fields| clock(fields, usual));
    let edges = channels::edges(&file, kind);
    let encoder = encoder(&file, &edges, usual);
    let samples = channels::samples(&file, kind, usual);
    let outputs = channels::outputs(&file, kind);
    let keep_alive = channels::keep_alive(&file, kind);
    channels::no_wire_twice(&file, &edges, &outputs, keep_alive);
    let interlocks = interlocks(&file, kind, &edges);
    let environments = channels::environments(&file);
    let trips = trips::trips(&file);
    file.need_parsed("safe state", "all off", words::safe_state);
    let lit_above = lit_above(&file, &samples);
    let wired = Wired { edges: &edges, outputs: &outputs, interlocks: &interlocks };
    let references = references::references(&file, &wired);
    let wear = wear::wear(&file, &outputs, encoder.as_ref());
    file.end();
    Some(JigFile {
        name: name?,
        kind: kind?,
        unit_port,
        board_port,
        clock: clock?,
        encoder,
        edges,
        samples,
        outputs,
        keep_alive,
        interlocks,
        trips: trips?,
        lit_above: lit_above?,
        references,
        wear,
        environments,
    })
}

fn ports(file: &Fields<'_>, kind: Option<JigKind>) -> (Option<String>, Option<String>) {
    let Some(ports) = file.fields("ports", "{ unit: /dev/ttyUSB0, board: /dev/ttyACM0 }") else { return (None, None) };
    let unit = ports.word("unit", "/dev/ttyUSB0");
    let board = ports.word("board", "/dev/ttyACM0");
    let idle = match kind {
        Some(JigKind::Simulated) => [unit, board],
        Some(JigKind::RaspberryPi) => [None, board],
        Some(JigKind::CaptureBoard) | None => [None, None],
    };
    for (word, kind) in idle.into_iter().flatten().zip(kind) {
        file.notes().add(&word.at, format!("a jig of the kind `{}` has no such port", kind.name()), "leave it out");
    }
    if let (Some(unit), Some(board)) = (unit, board)
        && unit.text.trim() == board.text.trim()
    {
        file.notes().add(&board.at, "unit and board cannot be on the same port", "name the board's own port");
    }
    ports.end();
    let text = |word: Option<&crate::written::Scalar>| word.map(|word| word.text.trim().to_owned());
    (text(unit), text(board))
}

fn clock(fields: Fields<'_>, usual: channels::Usual) -> Option<TickClock> {
    let ticks_per_second = fields.need_parsed("rate", "2 MHz", words::tick_rate);
    let error = fields.parsed("error", "0 ppm", words::small_ratio).unwrap_or(0.0);
    let uncertainty = fields.need_parsed("uncertainty", "10 ppm", words::uncertainty(Dimension::Ratio));
    let stamp = fields.need_parsed("stamp uncertainty", "0.1 µs", words::uncertainty(Dimension::Time));
    let dates = channels::dates(&fields, usual);
    fields.end();
    Some(TickClock {
        ticks_per_second: ticks_per_second?,
        error,
        uncertainty: uncertainty?,
        stamp_uncertainty: stamp?,
        dates: dates?,
    })
}

fn encoder(file: &Fields<'_>, edges: &[EdgeInput], usual: channels::Usual) -> Option<Encoder> {
    let tracks = [EdgeChannel::EncoderA, EdgeChannel::EncoderB];
    let wired = tracks.map(|track| edges.iter().any(|input| input.channel == track));
    if wired[0] != wired[1] {
        let right = "list both `encoder a` and `encoder b`: one track alone does not show the direction";
        file.notes().add(file.at(), "this jig has one track of an encoder", right);
    }
    let example = "{ edges: 40 edges/mm, uncertainty: 50 ppm }";
    let fields =
        if wired[0] && wired[1] { file.need_fields("encoder", example) } else { file.fields("encoder", example) }?;
    if wired == [false, false] {
        file.notes().add(
            fields.at(),
            "this jig has no encoder among its `edges`",
            "list `encoder a` and `encoder b`, or leave this out",
        );
    }
    let edges_per_metre = fields.need_parsed("edges", "40 edges/mm", words::above_zero(Dimension::PerLength));
    let uncertainty = fields.need_parsed("uncertainty", "50 ppm", words::uncertainty(Dimension::Ratio));
    let dates = channels::dates(&fields, usual);
    fields.end();
    Some(Encoder { edges_per_metre: edges_per_metre?, uncertainty: uncertainty?, dates: dates? })
}

fn interlocks(file: &Fields<'_>, kind: Option<JigKind>, edges: &[EdgeInput]) -> Vec<EdgeChannel> {
    let mut interlocks = Vec::new();
    for word in file.words("interlocks", "[ emergency stop, guard ]") {
        let Some(channel) = word.understood(file.notes(), words::interlock) else { continue };
        if !edges.iter().any(|input| input.channel == channel) {
            let what = format!("the interlock `{}` is not among this jig's `edges`", channel.name());
            file.notes().add(&word.at, what, "wire it and list it there");
        }
        interlocks.push(channel);
    }
    if !interlocks.contains(&EdgeChannel::EmergencyStop) && kind.is_some_and(|kind| kind != JigKind::Simulated) {
        let right = "wire the emergency-stop chain to an input, list it under `edges`, and add `interlocks: [ emergency stop ]`";
        file.notes().add(file.at(), "this jig moves real carriages without watching its emergency stop", right);
    }
    interlocks
}

fn lit_above(file: &Fields<'_>, samples: &[SampleInput]) -> Option<f64> {
    let watches = samples.iter().any(|input| matches!(input.channel, SampleChannel::Light(_)));
    let parse = words::between_zero_and_one;
    if watches {
        file.need_parsed("lit above", "50 %", parse)
    } else {
        Some(file.parsed("lit above", "50 %", parse).unwrap_or(0.5))
    }
}

#[cfg(test)]
mod tests;
