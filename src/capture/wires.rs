//! Captures that other instruments made: which of their signals is which channel, and how their levels and numbers become
//! a stream of evidence.
//!
//! A foreign capture names its signals as its maker pleased, so the user says `step=D0`. The first edge of a channel
//! states its level, as in our own captures; of the step line only rising edges are kept. What cannot be taken as it
//! stands (an unknown level, time that goes back, a number that is none) is a loss, and any loss makes a value that rests
//! on it be withheld.

use super::{Calibration, CaptureSink, Driven, EdgeChannel, Loss, OutputChannel, Part, SampleChannel, Tick};
use crate::quantity::Quantity;

/// A part is handed on once it holds so many entries.
const PART_LENGTH: usize = 1 << 16;
/// The most losses that are told one by one; a capture with more is no capture.
const LOSSES_MAX: usize = 100;
/// Value of one code of a channel that no jig file calibrates, in the channel's SI unit.
const FINE_CODE: f64 = 1e-6;

/// A channel that a signal stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Channel {
    /// A digital line.
    Edge(EdgeChannel),
    /// A sampled quantity.
    Sample(SampleChannel),
    /// A line that follows an output of the bench: high is on.
    Output(OutputChannel),
}

impl Channel {
    /// The channel with this name.
    pub fn named(name: &str) -> Option<Self> {
        EdgeChannel::named(name)
            .map(Self::Edge)
            .or_else(|| SampleChannel::named(name).map(Self::Sample))
            .or_else(|| OutputChannel::named(name).map(Self::Output))
    }

    /// Its words.
    pub fn name(self) -> String {
        match self {
            Self::Edge(channel) => channel.name().to_owned(),
            Self::Sample(channel) => channel.name(),
            Self::Output(channel) => channel.name(),
        }
    }

    /// All of them.
    pub fn all() -> impl Iterator<Item = Self> {
        let samples = (0..SampleChannel::COUNT).filter_map(SampleChannel::at).map(Self::Sample);
        let outputs = (0..OutputChannel::COUNT).filter_map(OutputChannel::at).map(Self::Output);
        EdgeChannel::ALL.into_iter().map(Self::Edge).chain(samples).chain(outputs)
    }
}

/// One signal of a foreign capture and the channel that it stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    /// The channel.
    pub channel: Channel,
    /// The signal's name in the capture; `bus[3]` is a bit of a vector.
    pub name: String,
    /// What one unit of the signal's numbers is worth, in the channel's SI unit.
    pub scale: Option<f64>,
}

impl Wire {
    /// Reads `step=D0`, `encoder a=bus[3]`, `pack voltage=ain0@1.25 mV` (one unit of `ain0` is worth 1.25 mV).
    ///
    /// # Errors
    /// What is wrong and what would be right.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (channel, signal) = text.split_once('=').ok_or("write CHANNEL=NAME, for example step=D0")?;
        let known: Vec<String> = Channel::all().map(Channel::name).collect();
        let channel = Channel::named(channel.trim()).ok_or_else(|| {
            let meant = crate::written::nearest(channel, known.iter().map(String::as_str));
            let meant =
                meant.map_or_else(|| "`step` and `pack voltage` are two".into(), |m| format!("did you mean `{m}`?"));
            format!("there is no channel `{}`; {meant}", channel.trim())
        })?;
        let (name, scale) = match (channel, signal.rsplit_once('@')) {
            (Channel::Sample(sampled), Some((name, worth))) => {
                let worth = Quantity::parse(worth, sampled.dimension()).map_err(|misread| misread.to_string())?.si();
                if worth == 0.0 {
                    return Err("a unit that is worth nothing scales nothing; write for example ain0@1.25 mV".into());
                }
                (name, Some(worth))
            }
            _ => (signal, None),
        };
        if name.trim().is_empty() {
            return Err("the signal's name is missing; write CHANNEL=NAME, for example step=D0".into());
        }
        Ok(Self { channel, name: name.trim().to_owned(), scale })
    }
}

/// Whether each channel is one signal.
pub(super) fn check_unique(wires: &[Wire]) -> Result<(), ForeignError> {
    let twice =
        wires.iter().enumerate().find(|(index, wire)| wires[..*index].iter().any(|w| w.channel == wire.channel));
    twice.map_or(Ok(()), |(_, wire)| Err(ForeignError::Twice { channel: wire.channel.name() }))
}

/// Calibrations by [`SampleChannel::index`].
pub type Calibrations = [Option<Calibration>; SampleChannel::COUNT];

/// Why a foreign capture gives no evidence at all.
#[derive(Debug, thiserror::Error)]
pub enum ForeignError {
    /// It could not be read.
    #[error("the capture cannot be read: {0}")]
    Unreadable(#[from] std::io::Error),
    /// It is not what it should be.
    #[error("{place}: {what}; {right}")]
    Malformed {
        /// Where: "byte 120", "line 7".
        place: String,
        /// What is wrong.
        what: String,
        /// What to do.
        right: String,
    },
    /// A signal that was named is not in it.
    #[error("the capture has no signal `{name}`; it has {}", listed(.known))]
    NoSignal {
        /// The name that was given.
        name: String,
        /// Some that there are.
        known: Vec<String>,
    },
    /// Several signals have the name.
    #[error("several signals are called `{name}`: {}; name one with its scopes", listed(.candidates))]
    Ambiguous {
        /// The name that was given.
        name: String,
        /// Their full names.
        candidates: Vec<String>,
    },
    /// Two signals are said to be one channel.
    #[error("`{channel}` is given twice; a channel is one signal")]
    Twice {
        /// The channel.
        channel: String,
    },
    /// A signal cannot be what it is said to be.
    #[error("`{name}` cannot be `{channel}`: {why}")]
    Unfit {
        /// The signal.
        name: String,
        /// The channel.
        channel: String,
        /// Why not, and what to do.
        why: String,
    },
}

impl ForeignError {
    pub(super) fn malformed(place: impl Into<String>, what: impl Into<String>, right: impl Into<String>) -> Self {
        Self::Malformed { place: place.into(), what: what.into(), right: right.into() }
    }

    /// Too much of it is wrong.
    pub(super) fn hopeless(place: impl Into<String>) -> Self {
        let what = format!("more than {LOSSES_MAX} things are wrong near here, so nothing can rest on this capture");
        Self::malformed(place, what, "take a copy that is whole")
    }
}

/// So many names are listed; more would hide the message.
pub(super) const LISTED_MAX: usize = 24;

fn listed(names: &[String]) -> String {
    let mut list = names.iter().take(LISTED_MAX).map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    if names.len() > LISTED_MAX {
        list.push_str(" and more");
    }
    if list.is_empty() { "none".into() } else { list }
}

/// What was taken from a foreign capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Taken {
    /// Transitions and switched outputs.
    pub edges: u64,
    /// Samples.
    pub samples: u64,
    /// Losses.
    pub losses: u64,
    /// The last moment.
    pub ended: Tick,
}

/// How a signal's numbers become codes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Coding {
    /// They are the converter's codes.
    Raw,
    /// They are values in SI once multiplied by this.
    Scaled(f64),
}

/// The calibration of a perfect converter for this signal: one code is what the capture itself tells apart where its
/// numbers are whole, else a millionth of the unit.
pub(super) fn perfect(wire: &Wire, is_whole: bool) -> Result<Calibration, ForeignError> {
    let gain = match wire.scale {
        Some(worth) if is_whole => worth.abs(),
        None if is_whole => {
            return Err(ForeignError::Unfit {
                name: wire.name.clone(),
                channel: wire.channel.name(),
                why: format!(
                    "what one of its steps is worth is not known; write for example \"{}={}@1.25 mV\", or name a jig file",
                    wire.channel.name(),
                    wire.name
                ),
            });
        }
        _ => FINE_CODE,
    };
    Ok(Calibration { gain, offset: 0.0, gain_uncertainty: 0.0, offset_uncertainty: 0.0 })
}

/// Turns levels and numbers, in order of time, into parts for a sink.
pub(super) struct Intake<'a> {
    sink: &'a mut dyn CaptureSink,
    part: Part,
    held: usize,
    lines: Vec<LineState>,
    taken: Taken,
}

/// What is known of one wire.
#[derive(Clone, Copy)]
struct LineState {
    channel: Channel,
    level: Option<bool>,
    /// Since when the level is not known although it was before.
    unknown_since: Option<Tick>,
    coding: Coding,
    calibration: Option<Calibration>,
}

impl<'a> Intake<'a> {
    /// An intake of `wires` into `sink`; `codings` tells how the numbers of each are to be read.
    pub fn new(wires: &[Wire], codings: &[Coding], calibrations: &Calibrations, sink: &'a mut dyn CaptureSink) -> Self {
        let lines = wires.iter().zip(codings).map(|(wire, coding)| LineState {
            channel: wire.channel,
            level: None,
            unknown_since: None,
            coding: *coding,
            calibration: match wire.channel {
                Channel::Sample(channel) => calibrations[channel.index()],
                _ => None,
            },
        });
        Self { sink, part: Part::default(), held: 0, lines: lines.collect(), taken: Taken::default() }
    }

    /// A wire's level at a moment; `None` where the capture does not know it.
    #[inline]
    pub fn level(&mut self, wire: usize, at: Tick, level: Option<bool>) {
        let line = &mut self.lines[wire];
        let Some(level) = level else {
            if line.level.is_some() && line.unknown_since.is_none() {
                line.unknown_since = Some(at);
            }
            return;
        };
        let before = line.level.replace(level);
        if let Some(since) = line.unknown_since.take() {
            let what =
                format!("what `{}` did: its level is not known from tick {since} to tick {at}", line.channel.name());
            self.lose(at, what);
        }
        if before != Some(level) {
            self.change(wire, at, level, before);
        }
    }

    #[inline]
    fn change(&mut self, wire: usize, at: Tick, level: bool, before: Option<bool>) {
        match self.lines[wire].channel {
            // A line that begins high has not risen.
            Channel::Edge(EdgeChannel::Step) if !level || before.is_none() => return,
            Channel::Edge(channel) => self.part.push_edge(channel, at, level),
            // An output that begins switched off was not switched.
            Channel::Output(_) if before.is_none() && !level => return,
            Channel::Output(output) => self.part.driven.push(Driven { at, output, on: level }),
            Channel::Sample(_) => return,
        }
        self.taken.edges += 1;
        self.count(at);
    }

    /// A pulse on a wire, where the capture has pulses instead of levels.
    pub fn pulse(&mut self, wire: usize, at: Tick) {
        self.lines[wire].level = Some(false);
        self.level(wire, at, Some(true));
        self.lines[wire].level = Some(false);
    }

    /// Whether a wire has numbers instead of levels.
    pub fn is_sampled(&self, wire: usize) -> bool {
        matches!(self.lines[wire].channel, Channel::Sample(_))
    }

    /// A number of a wire at a moment.
    pub fn number(&mut self, wire: usize, at: Tick, number: f64) {
        let line = self.lines[wire];
        let Channel::Sample(channel) = line.channel else { return };
        let code = match (line.coding, line.calibration) {
            (Coding::Raw, _) => number,
            (Coding::Scaled(worth), Some(calibration)) => (number * worth - calibration.offset) / calibration.gain,
            (Coding::Scaled(_), None) => f64::NAN,
        };
        // The range ends before the converter's extremes, so that no difference of two codes overflows.
        if code.abs() <= f64::from(i32::MAX / 2) {
            self.part.push_sample(channel, at, code.round() as i32);
            self.taken.samples += 1;
            self.count(at);
        } else {
            self.lose(at, format!("a sample of `{}`: {number} is no number that it can have", channel.name()));
        }
    }

    /// Something that is missing.
    pub fn lose(&mut self, at: Tick, what: String) {
        self.taken.losses += 1;
        if self.taken.losses <= LOSSES_MAX as u64 {
            self.part.losses.push(Loss { at, what });
        }
    }

    /// Whether so much is missing that reading on is of no use.
    pub fn is_hopeless(&self) -> bool {
        self.taken.losses > LOSSES_MAX as u64
    }

    #[inline]
    fn count(&mut self, at: Tick) {
        self.taken.ended = at;
        self.held += 1;
        if self.held >= PART_LENGTH {
            self.hand_on();
        }
    }

    fn hand_on(&mut self) {
        self.sink.part(&self.part);
        self.part.clear();
        self.held = 0;
    }

    /// Hands on what is left.
    pub fn finish(mut self, ended: Tick) -> Taken {
        for wire in 0..self.lines.len() {
            if let Some(since) = self.lines[wire].unknown_since {
                let name = self.lines[wire].channel.name();
                let what = format!("what `{name}` did: its level is not known from tick {since} on");
                self.lose(since, what);
            }
        }
        if !self.part.is_empty() {
            self.hand_on();
        }
        self.taken.ended = self.taken.ended.max(ended);
        self.taken
    }
}
