//! What a jig is held against before a shift: known values that can be switched to its channels, wires from outputs to
//! inputs, the computer's clock, the dummy load as a known resistor, a unit that was measured by other means. Each reference
//! states its own doubt, and how far the jig may be off is a tolerance like any other; what has no reference is never taken
//! for checked.

use super::{EdgeInput, OutputLine, words};
use crate::capture::{EdgeChannel, OutputChannel, SampleChannel};
use crate::quantity::{Dimension, Quantity, Tolerance};
use crate::written::{Fields, Mistake, Node, Notes, Scalar, nearest};

/// The references of a jig.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct References {
    /// The computer's clock, where the jig's is held against it.
    pub clock: Option<ClockReference>,
    /// Known values of sampled channels.
    pub values: Vec<ValueReference>,
    /// Wires from an output to an input.
    pub loop_backs: Vec<LoopBack>,
    /// The dummy load, where its resistance is known.
    pub load: Option<LoadReference>,
    /// The unit that is put on the jig before a shift.
    pub unit: Option<UnitReference>,
}

/// How the jig's clock is held against the computer's.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockReference {
    /// How far the two may be apart in rate.
    pub error: Tolerance,
    /// Standard uncertainty of the computer's clock, relative.
    pub uncertainty: f64,
    /// For how long they are watched, s.
    pub over_s: f64,
}

/// A known value that a sampled channel has to read.
#[derive(Debug, Clone, PartialEq)]
pub struct ValueReference {
    /// The channel.
    pub channel: SampleChannel,
    /// What it has to read, with its tolerance.
    pub reads: Tolerance,
    /// Standard uncertainty of the known value, in the channel's unit.
    pub uncertainty: f64,
    /// The output that switches it to the channel; always there where none does.
    pub by: Option<OutputChannel>,
}

impl ValueReference {
    /// The known value itself: the middle of the tolerance.
    pub fn value(&self) -> f64 {
        let (lower, upper) = self.reads.limits();
        0.5 * (lower.unwrap_or(f64::NAN) + upper.unwrap_or(f64::NAN))
    }
}

/// A wire from an output to a digital input.
#[derive(Debug, Clone, PartialEq)]
pub struct LoopBack {
    /// The output that drives it.
    pub from: OutputChannel,
    /// The input that has to see it.
    pub to: EdgeChannel,
    /// How many pulses are sent.
    pub pulses: u32,
    /// From one pulse to the next, s.
    pub every_s: f64,
    /// From the output's switching to the input's edge.
    pub delay: Tolerance,
}

/// The dummy load as a known resistor across the pack: voltage over current has to come out as that. It needs no output
/// beyond those that every jig has, and no pack of a known voltage.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadReference {
    /// What has to come out, with its tolerance.
    pub resistance: Tolerance,
    /// Standard uncertainty of the known resistance, Ω.
    pub uncertainty: f64,
}

/// A unit that was measured by other means.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitReference {
    /// Its serial number: what is known of it is true of no other.
    pub serial: String,
    /// Travel from one end switch to the other as the jig has to find it, with its tolerance.
    pub travel: Tolerance,
    /// Standard uncertainty of the known travel, m.
    pub uncertainty: f64,
}

/// What else of the file the references speak of.
pub(super) struct Wired<'a> {
    pub edges: &'a [EdgeInput],
    pub outputs: &'a [OutputLine],
    pub interlocks: &'a [EdgeChannel],
}

/// What a jig file says under `references`; none where it says nothing.
pub(super) fn references(file: &Fields<'_>, wired: &Wired<'_>) -> References {
    let example = "{ clock: { error: 0 ppm ± 100 ppm, uncertainty: 10 ppm } }";
    let Some(fields) = file.fields("references", example) else { return References::default() };
    let clock = fields.fields("clock", "{ error: 0 ppm ± 100 ppm, uncertainty: 10 ppm }").and_then(clock);
    // Those that the file lists: what is wrong with a channel's calibration is said there.
    let samples: Vec<SampleChannel> = match file.node("samples") {
        Some(Node::Map(map)) => map.entries.iter().filter_map(|(name, _)| SampleChannel::named(&name.text)).collect(),
        _ => Vec::new(),
    };
    let values = channels(&fields, "values", "pack voltage: { reads: 7.400 V ± 30 mV, uncertainty: 1 mV }")
        .into_iter()
        .filter_map(|(name, node)| value(name, node, fields.notes(), &samples, wired))
        .collect();
    let loop_backs = channels(&fields, "loop-backs", "left end stop: { from: auxiliary 1 }")
        .into_iter()
        .filter_map(|(name, node)| loop_back(name, node, fields.notes(), wired))
        .collect();
    let load = fields.fields("dummy load", "{ resistance: 6.8 ohm ± 3 %, uncertainty: 20 mohm }");
    let load = load.and_then(|fields| load_reference(fields, &samples, wired));
    let unit = "{ serial: SM-0000, travel length: 560.0 mm ± 0.5 mm, uncertainty: 0.1 mm }";
    let unit = fields.fields("reference unit", unit).and_then(unit_reference);
    fields.end();
    References { clock, values, loop_backs, load, unit }
}

/// The entries of a map under a key: a channel each.
fn channels<'n>(fields: &Fields<'n>, key: &'n str, example: &str) -> Vec<(&'n Scalar, &'n Node)> {
    match fields.node(key) {
        None => Vec::new(),
        Some(Node::Map(map)) => map.entries.iter().map(|(name, node)| (name, node)).collect(),
        Some(other) => {
            let what = format!("`{key}` is a map of channels, but this is {}", other.kind());
            fields.notes().add(other.at(), what, format!("write `{key}: {{ {example} }}`"));
            Vec::new()
        }
    }
}

fn clock(fields: Fields<'_>) -> Option<ClockReference> {
    let error = fields.need_parsed("error", "0 ppm ± 100 ppm", |text| two_sided(text, Dimension::Ratio));
    let uncertainty = fields.need_parsed("uncertainty", "10 ppm", words::uncertainty(Dimension::Ratio));
    let over_s = fields.parsed("over", "30 s", |text| time(text, 20.0, 600.0)).unwrap_or(30.0);
    fields.end();
    Some(ClockReference { error: error?, uncertainty: uncertainty?, over_s })
}

fn value(
    name: &Scalar,
    node: &Node,
    notes: &Notes,
    known: &[SampleChannel],
    wired: &Wired<'_>,
) -> Option<ValueReference> {
    let channel = name.understood(notes, |text| one_of(text, known, ["sampled channel", ""], |channel| channel.name()));
    let fields = Fields::of(node, &format!("`{}`", name.text), "{ reads: 7.400 V ± 30 mV, uncertainty: 1 mV }", notes)?;
    // Without a channel nothing says what its values are; the keys are still looked at.
    let difference = channel.map_or(Dimension::Voltage, SampleChannel::dimension);
    let reading = if difference == Dimension::TemperatureDifference { Dimension::Temperature } else { difference };
    let reads = fields.need_word("reads", example(reading));
    let uncertainty = fields.need_word("uncertainty", small(difference));
    let by = fields.word("by", "auxiliary 1").map(|word| word.understood(notes, |text| switch(text, wired)));
    fields.end();
    channel?;
    let reads = reads.and_then(|word| word.understood(notes, |text| two_sided(text, reading)));
    let uncertainty = uncertainty.and_then(|word| word.understood(notes, words::uncertainty(difference)));
    let by = match by {
        None => None,
        Some(found) => Some(found?),
    };
    Some(ValueReference { channel: channel?, reads: reads?, uncertainty: uncertainty?, by })
}

fn loop_back(name: &Scalar, node: &Node, notes: &Notes, wired: &Wired<'_>) -> Option<LoopBack> {
    let to = name.understood(notes, |text| input(text, wired));
    let fields = Fields::of(node, &format!("`{}`", name.text), "{ from: auxiliary 1, pulses: 50 }", notes)?;
    let from = fields.need_parsed("from", "auxiliary 1", |text| switch(text, wired));
    let pulses = fields.parsed("pulses", "50", pulses).unwrap_or(50);
    let every_s = fields.parsed("every", "40 ms", |text| time(text, 0.01, 1.0)).unwrap_or(0.04);
    let usual = "at most 5 ms";
    let delay = fields.word("delay", usual).map_or(usual, |word| &word.text);
    let delay_at = fields.node("delay").map_or(fields.at(), Node::at);
    let delay = match Tolerance::parse(delay, Dimension::Time) {
        Ok(delay) => Some(delay),
        Err(misread) => {
            notes.add(delay_at, misread.what, misread.right);
            None
        }
    };
    fields.end();
    Some(LoopBack { from: from?, to: to?, pulses, every_s, delay: delay? })
}

fn load_reference(fields: Fields<'_>, samples: &[SampleChannel], wired: &Wired<'_>) -> Option<LoadReference> {
    let known = Dimension::Resistance;
    let resistance = fields.need_parsed("resistance", example(known), |text| two_sided(text, known));
    let uncertainty = fields.need_parsed("uncertainty", small(known), words::uncertainty(known));
    let load = OutputChannel::DummyLoad;
    let mut lacking = Vec::new();
    if !wired.outputs.iter().any(|line| line.channel == load) {
        lacking.push(format!("output `{}`", load.name()));
    }
    let read = [SampleChannel::PackVoltage, SampleChannel::PackCurrent].into_iter();
    lacking.extend(read.filter(|one| !samples.contains(one)).map(|one| format!("sampled channel `{}`", one.name())));
    for lacking in &lacking {
        fields.notes().add(
            fields.at(),
            format!("this jig has no {lacking}"),
            "add it to this jig, or leave the reference out",
        );
    }
    fields.end();
    Some(LoadReference { resistance: resistance?, uncertainty: uncertainty? }).filter(|_| lacking.is_empty())
}

fn unit_reference(fields: Fields<'_>) -> Option<UnitReference> {
    let known = Dimension::Length;
    let serial = fields.need_word("serial", "SM-0000").map(|word| word.text.trim().to_owned());
    let travel = fields.need_parsed("travel length", example(known), |text| two_sided(text, known));
    let uncertainty = fields.need_parsed("uncertainty", small(known), words::uncertainty(known));
    fields.end();
    Some(UnitReference { serial: serial?, travel: travel?, uncertainty: uncertainty? })
}

/// A tolerance that has a middle.
fn two_sided(text: &str, dimension: Dimension) -> Result<Tolerance, Mistake> {
    let tolerance = Tolerance::parse(text, dimension).map_err(|misread| Mistake::new(misread.what, misread.right))?;
    match tolerance.limits() {
        (Some(_), Some(_)) => Ok(tolerance),
        _ => {
            let right = format!("write the value with its tolerance, for example `{}`", example(dimension));
            Err(Mistake::new(format!("`{text}` says no value that is known"), right))
        }
    }
}

fn example(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Voltage => "7.400 V ± 30 mV",
        Dimension::Current => "0 mA ± 5 mA",
        Dimension::Temperature => "22 °C ± 1 K",
        Dimension::Ratio => "0 % ± 1 %",
        Dimension::Resistance => "6.8 ohm ± 3 %",
        Dimension::Length => "560.0 mm ± 0.5 mm",
        _ => "5 ms ± 1 ms",
    }
}

/// How a small uncertainty is written.
fn small(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Voltage => "1 mV",
        Dimension::Current => "0.1 mA",
        Dimension::TemperatureDifference => "0.1 K",
        Dimension::Resistance => "20 mohm",
        Dimension::Length => "0.1 mm",
        _ => "0.1 %",
    }
}

fn time(text: &str, least: f64, most: f64) -> Result<f64, Mistake> {
    let time = Quantity::parse(text, Dimension::Time).map_err(|error| Mistake::new(error.what, error.right))?.si();
    if (least..=most).contains(&time) {
        return Ok(time);
    }
    Err(Mistake::new(format!("`{text}` is out of range"), format!("write {least} s to {most} s")))
}

fn pulses(text: &str) -> Result<u32, Mistake> {
    text.parse()
        .ok()
        .filter(|pulses| (2..=1000).contains(pulses))
        .ok_or_else(|| Mistake::new(format!("`{text}` is no number of pulses"), "write a whole number from 2 to 1000"))
}

/// An output that may put a known value or a pulse somewhere while nothing moves. The unit's supply stays off, and the dummy
/// load has a reference of its own.
fn switch(text: &str, wired: &Wired<'_>) -> Result<OutputChannel, Mistake> {
    let stays_off = |output: &OutputChannel| matches!(output, OutputChannel::UnitSupply | OutputChannel::DummyLoad);
    let known: Vec<OutputChannel> =
        wired.outputs.iter().map(|line| line.channel).filter(|output| !stays_off(output)).collect();
    one_of(text, &known, ["output", " that a check may switch"], |output| output.name())
}

/// An input that a wire may lead to: an interlock would stop the check.
fn input(text: &str, wired: &Wired<'_>) -> Result<EdgeChannel, Mistake> {
    let inputs = wired.edges.iter().map(|input| input.channel);
    let known: Vec<EdgeChannel> = inputs.filter(|channel| !wired.interlocks.contains(channel)).collect();
    one_of(text, &known, ["input", " that may be looped back"], |channel| channel.name().to_owned())
}

/// The channel of this jig with a name.
fn one_of<C: Copy>(text: &str, known: &[C], what: [&str; 2], name: impl Fn(&C) -> String) -> Result<C, Mistake> {
    let names: Vec<String> = known.iter().map(&name).collect();
    if let Some(found) = names.iter().position(|known| known == text) {
        return Ok(known[found]);
    }
    let right = match nearest(text, names.iter().map(String::as_str)) {
        Some(meant) => format!("did you mean `{meant}`?"),
        None if names.is_empty() => "add one to this jig, or leave the reference out".into(),
        None => format!("those of this jig are {}", names.join(", ")),
    };
    Err(Mistake::new(format!("this jig has no {} `{text}`{}", what[0], what[1]), right))
}
