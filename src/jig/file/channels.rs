//! The channels of a jig file: a list of names where the board knows its own wiring, a map with pins and addresses on a
//! Raspberry Pi.

use super::{Dates, EdgeInput, JigKind, OutputLine, SampleInput};
use super::{wires, words};
use crate::capture::{Calibration, EdgeChannel, OutputChannel, SampleChannel};
use crate::quantity::Dimension;
use crate::written::{Fields, Mistake, Node, Notes, Scalar, nearest};
use std::collections::BTreeMap;

/// What a file says at its head about the dates of all channels that have none of their own.
#[derive(Debug, Clone, Copy)]
pub(super) enum Usual {
    Nothing,
    Unreadable,
    Known(Dates),
}

/// The dates at the head of a file.
pub(super) fn usual_dates(file: &Fields<'_>) -> Usual {
    match (file.node("calibrated"), file.node("due")) {
        (None, None) => Usual::Nothing,
        _ => own_dates(file).map_or(Usual::Unreadable, Usual::Known),
    }
}

/// The dates of one channel: its own, or else those at the head of the file. What it says of the environment is taken by
/// [`environments`].
pub(super) fn dates(fields: &Fields<'_>, usual: Usual) -> Option<Dates> {
    fields.word("environment", "21.5 °C, 45 % RH");
    match (fields.node("calibrated"), fields.node("due"), usual) {
        (None, None, Usual::Known(dates)) => Some(dates),
        (None, None, Usual::Unreadable) => None,
        (None, None, Usual::Nothing) => {
            let right = "add `calibrated: 2026-03-02` and `due: 2027-03-02` here, or once at the head of the file";
            fields.notes().add(fields.at(), "nothing says until when this calibration holds", right);
            None
        }
        _ => own_dates(fields),
    }
}

/// Under what conditions each calibration was made, in words: a channel's own, or else those at the head of the file where
/// its dates are those of the head, too.
pub(super) fn environments(file: &Fields<'_>) -> BTreeMap<String, String> {
    let said = |node: Option<&Node>| match node {
        Some(Node::Scalar(words)) => Some(words.text.trim().to_owned()),
        _ => None,
    };
    let usual = file.word("environment", "21.5 °C, 45 % RH").map(|words| words.text.trim().to_owned());
    let mut environments = BTreeMap::new();
    let mut of = |name: &str, node: &Node| {
        let Node::Map(map) = node else { return };
        let has_dates = map.get("calibrated").is_some() || map.get("due").is_some();
        let environment = said(map.get("environment")).or_else(|| usual.clone().filter(|_| !has_dates));
        environments.extend(environment.map(|environment| (name.to_owned(), environment)));
    };
    for name in ["clock", "encoder"] {
        file.node(name).into_iter().for_each(|node| of(name, node));
    }
    if let Some(Node::Map(samples)) = file.node("samples") {
        samples.entries.iter().for_each(|(name, node)| of(&name.text, node));
    }
    environments
}

fn own_dates(fields: &Fields<'_>) -> Option<Dates> {
    let calibrated = fields.need_parsed("calibrated", "2026-03-02", words::day);
    let due = fields.need_parsed("due", "2027-03-02", words::day);
    let dates = Dates { calibrated: calibrated?, due: due? };
    if dates.due <= dates.calibrated {
        let at = fields.node("due").map_or(fields.at(), Node::at);
        fields.notes().add(at, "this calibration falls due before it was made", "write a later day under `due`");
    }
    Some(dates)
}

/// A name with what belongs to it, if anything.
struct Listed<'n, C> {
    name: &'n Scalar,
    channel: C,
    fields: Option<Fields<'n>>,
}

/// The channels under a key. Names that nobody knows or that stand there twice are noted.
fn listed<'n, C: Copy + PartialEq>(
    file: &Fields<'n>,
    key: &'n str,
    example: &str,
    named: impl Fn(&str) -> Option<C>,
    all: &[String],
) -> Vec<Listed<'n, C>> {
    let notes = file.notes();
    let parts: Vec<(&Scalar, Option<&Node>)> = match file.need(key, example) {
        Some(Node::List(list)) => {
            list.items.iter().filter_map(|item| plain_name(item, key, notes)).map(|name| (name, None)).collect()
        }
        Some(Node::Map(map)) => map.entries.iter().map(|(name, node)| (name, Some(node))).collect(),
        Some(other) => {
            let what = format!("`{key}` wants channels, but this is {}", other.kind());
            notes.add(other.at(), what, format!("write for example `{key}: {example}`"));
            Vec::new()
        }
        None => Vec::new(),
    };
    let mut found: Vec<Listed<'n, C>> = Vec::with_capacity(parts.len());
    for (name, node) in parts {
        let Some(channel) = name.understood(notes, |text| known(text, &named, all)) else { continue };
        if found.iter().any(|earlier| earlier.channel == channel) {
            notes.add(
                &name.at,
                format!("the channel `{}` stands here a second time", name.text),
                "keep one of the two",
            );
            continue;
        }
        let fields = node.and_then(|node| Fields::of(node, &format!("`{}`", name.text), "step: { pin: 17 }", notes));
        found.push(Listed { name, channel, fields });
    }
    found
}

fn plain_name<'n>(item: &'n Node, key: &str, notes: &Notes) -> Option<&'n Scalar> {
    match item {
        Node::Scalar(name) => Some(name),
        other => {
            let what = format!("a list under `{key}` holds names, but this is {}", other.kind());
            notes.add(other.at(), what, format!("write names alone, or make `{key}` a map without `- `"));
            None
        }
    }
}

fn known<C>(text: &str, named: impl Fn(&str) -> Option<C>, all: &[String]) -> Result<C, Mistake> {
    named(text).ok_or_else(|| {
        let right = match nearest(text, all.iter().map(String::as_str)) {
            Some(meant) => format!("did you mean `{meant}`?"),
            None => format!("the channels here are {}", all.join(", ")),
        };
        Mistake::new(format!("there is no channel `{text}`"), right)
    })
}

pub(super) fn edges(file: &Fields<'_>, kind: Option<JigKind>) -> Vec<EdgeInput> {
    let all = EdgeChannel::ALL.map(|channel| channel.name().to_owned());
    listed(file, "edges", "[ step, direction, encoder a, encoder b ]", EdgeChannel::named, &all)
        .into_iter()
        .map(|Listed { name, channel, fields }| {
            let pin = pin(file.notes(), kind, name, fields.as_ref());
            fields.into_iter().for_each(Fields::end);
            EdgeInput { channel, pin }
        })
        .collect()
}

pub(super) fn outputs(file: &Fields<'_>, kind: Option<JigKind>) -> Vec<OutputLine> {
    let all: Vec<String> = (0..OutputChannel::COUNT).filter_map(OutputChannel::at).map(OutputChannel::name).collect();
    listed(file, "outputs", "[ unit supply, dummy load ]", OutputChannel::named, &all)
        .into_iter()
        .map(|Listed { name, channel, fields }| {
            let pin = pin(file.notes(), kind, name, fields.as_ref());
            let mut active_high = true;
            if let Some(fields) = fields {
                if kind == Some(JigKind::RaspberryPi) {
                    active_high = fields.parsed("active", "low", words::level).unwrap_or(true);
                }
                fields.end();
            }
            OutputLine { channel, pin, active_high }
        })
        .collect()
}

/// The pin of a line: needed on a Raspberry Pi, meaningless elsewhere.
fn pin(notes: &Notes, kind: Option<JigKind>, name: &Scalar, fields: Option<&Fields<'_>>) -> Option<u8> {
    if kind != Some(JigKind::RaspberryPi) {
        return None;
    }
    if fields.is_none() {
        let what = format!("`{}` has no pin", name.text);
        notes.add(&name.at, what, format!("write `{}: {{ pin: 17 }}`, without a `- ` before it", name.text));
    }
    fields.and_then(|fields| fields.need_parsed("pin", "17", words::pin))
}

/// The pin that toggles while the program lives: needed on a Raspberry Pi, whose pins keep their level when it is killed.
pub(super) fn keep_alive(file: &Fields<'_>, kind: Option<JigKind>) -> Option<u8> {
    match kind {
        Some(JigKind::RaspberryPi) => file.need_fields("keep alive", "{ pin: 26 }").and_then(|fields| {
            let pin = fields.need_parsed("pin", "26", words::pin);
            fields.end();
            pin
        }),
        _ => None,
    }
}

/// Two lines on one pin would drive or hide each other.
pub(super) fn no_wire_twice(file: &Fields<'_>, edges: &[EdgeInput], outputs: &[OutputLine], keep_alive: Option<u8>) {
    let inputs = edges.iter().map(|input| (input.pin, input.channel.name().to_owned()));
    let outputs = outputs.iter().map(|output| (output.pin, output.channel.name()));
    let mut wired: Vec<(u8, String)> = keep_alive.map(|pin| (pin, "keep alive".to_owned())).into_iter().collect();
    for (pin, name) in inputs.chain(outputs) {
        let Some(pin) = pin else { continue };
        if let Some((_, earlier)) = wired.iter().find(|(other, _)| *other == pin) {
            let key = if EdgeChannel::named(&name).is_some() { "edges" } else { "outputs" };
            let at = match file.node(key) {
                Some(Node::Map(map)) => map.get(&name).map_or(&map.at, Node::at),
                _ => file.at(),
            };
            let what = format!("pin {pin} of `{name}` is that of `{earlier}` already");
            file.notes().add(at, what, "give each line a pin of its own");
        }
        wired.push((pin, name));
    }
}

pub(super) fn samples(file: &Fields<'_>, kind: Option<JigKind>, usual: Usual) -> Vec<SampleInput> {
    let all: Vec<String> = (0..SampleChannel::COUNT).filter_map(SampleChannel::at).map(SampleChannel::name).collect();
    let example = "{ pack voltage: { gain: 1.25 mV, gain uncertainty: 0.1 %, offset uncertainty: 2 mV } }";
    listed(file, "samples", example, SampleChannel::named, &all)
        .into_iter()
        .filter_map(|Listed { name, channel, fields }| {
            let Some(fields) = fields else {
                let what = format!("`{}` has no calibration", name.text);
                file.notes().add(
                    &name.at,
                    what,
                    "write `samples` as a map, each channel with its `gain` and uncertainties",
                );
                return None;
            };
            sample(fields, channel, kind, usual)
        })
        .collect()
}

fn sample(fields: Fields<'_>, channel: SampleChannel, kind: Option<JigKind>, usual: Usual) -> Option<SampleInput> {
    let (value, difference, example) = match channel {
        SampleChannel::PackVoltage => (Dimension::Voltage, Dimension::Voltage, "1.25 mV"),
        SampleChannel::PackCurrent => (Dimension::Current, Dimension::Current, "0.5 mA"),
        SampleChannel::Light(_)
        | SampleChannel::LightFlicker
        | SampleChannel::Red
        | SampleChannel::Green
        | SampleChannel::Blue => (Dimension::Ratio, Dimension::Ratio, "0.1 %"),
        SampleChannel::MotorTemperature | SampleChannel::HousingTemperature | SampleChannel::AirTemperature => {
            (Dimension::Temperature, Dimension::TemperatureDifference, "0.0625 K")
        }
    };
    let gain = fields.need_parsed("gain", example, words::gain(difference));
    let offset = fields.parsed("offset", value.example(), |text| words::quantity(text, value)).unwrap_or(0.0);
    let gain_uncertainty = fields.need_parsed("gain uncertainty", "0.1 %", words::uncertainty(Dimension::Ratio));
    let offset_uncertainty = fields.need_parsed("offset uncertainty", example, words::uncertainty(difference));
    let dates = dates(&fields, usual);
    let wire = if kind == Some(JigKind::RaspberryPi) { Some(wires::sample(&fields)) } else { None };
    fields.end();
    Some(SampleInput {
        channel,
        calibration: Calibration {
            gain: gain?,
            offset,
            gain_uncertainty: gain_uncertainty?,
            offset_uncertainty: offset_uncertainty?,
        },
        dates: dates?,
        wire: match wire {
            None => None,
            Some(found) => Some(found?),
        },
    })
}
