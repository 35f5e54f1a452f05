//! What arrived from a jig and a unit's link since the last look, column by column. Buffers are reused: nothing is
//! allocated per edge.

use super::{EdgeChannel, OutputChannel, SampleChannel};

/// A moment on the jig's clock: ticks since the capture began, roll-over already undone.
pub type Tick = u64;

/// The last moment that a capture can have: two years on the fastest clock, so that no sum or product of a few
/// overflows. Readers take nothing that is later.
pub const TICK_MAX: Tick = (1 << 56) - 1;

/// A transition of a digital line: its tick and the level after it, packed into one word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Edge(u64);

impl Edge {
    /// The transition to `level` at `tick`, which must be below 2^63; a stored one is up to [`TICK_MAX`].
    pub const fn new(tick: Tick, level: bool) -> Self {
        Self(tick << 1 | level as u64)
    }

    /// When it happened.
    pub const fn tick(self) -> Tick {
        self.0 >> 1
    }

    /// The level after it: true is high.
    pub const fn level(self) -> bool {
        self.0 & 1 == 1
    }
}

/// One reading of an analogue channel, as the converter gave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// When it was taken.
    pub at: Tick,
    /// The converter's code.
    pub code: i32,
}

/// Who said a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Talker {
    /// The bench, to the unit.
    Bench,
    /// The unit.
    Unit,
}

/// One line of the unit link's transcript, without its line ending.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// When its last byte was seen, on the jig's clock.
    pub at: Tick,
    /// Who said it.
    pub from: Talker,
    /// What was said; bytes outside UTF-8 appear as U+FFFD.
    pub text: String,
}

/// An output that was switched, at the jig's own stamp.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Driven {
    /// When the jig switched it.
    pub at: Tick,
    /// What was switched.
    pub output: OutputChannel,
    /// On or off.
    pub on: bool,
}

/// Evidence that did not arrive. Any of these makes the run invalid.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loss {
    /// About when.
    pub at: Tick,
    /// What is missing and how that was seen: "7 edges of `step`: sequence number jumped from 12 to 20".
    pub what: String,
}

/// What arrived since the last part.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Part {
    /// Transitions, by channel. The first edge of a channel in a capture states its level at the start.
    pub edges: [Vec<Edge>; EdgeChannel::ALL.len()],
    /// Samples, by channel.
    pub samples: [Vec<Sample>; SampleChannel::COUNT],
    /// Outputs that were switched.
    pub driven: Vec<Driven>,
    /// The link's transcript.
    pub lines: Vec<Line>,
    /// What is known to be missing.
    pub losses: Vec<Loss>,
}

impl Part {
    /// Transitions of one channel.
    pub fn edges(&self, channel: EdgeChannel) -> &[Edge] {
        &self.edges[channel as usize]
    }

    /// Samples of one channel.
    pub fn samples(&self, channel: SampleChannel) -> &[Sample] {
        &self.samples[channel.index()]
    }

    /// Adds a transition.
    pub fn push_edge(&mut self, channel: EdgeChannel, tick: Tick, level: bool) {
        self.edges[channel as usize].push(Edge::new(tick, level));
    }

    /// Adds a sample.
    pub fn push_sample(&mut self, channel: SampleChannel, at: Tick, code: i32) {
        self.samples[channel.index()].push(Sample { at, code });
    }

    /// Moves all that `other` holds behind what is here; `other` keeps its memory.
    pub fn append(&mut self, other: &mut Part) {
        for (to, from) in self.edges.iter_mut().zip(&mut other.edges).filter(|(_, from)| !from.is_empty()) {
            to.append(from);
        }
        for (to, from) in self.samples.iter_mut().zip(&mut other.samples).filter(|(_, from)| !from.is_empty()) {
            to.append(from);
        }
        self.driven.append(&mut other.driven);
        self.lines.append(&mut other.lines);
        self.losses.append(&mut other.losses);
    }

    /// How many edges, samples, switched outputs and lines there are.
    pub fn entries(&self) -> usize {
        let edges: usize = self.edges.iter().map(Vec::len).sum();
        let samples: usize = self.samples.iter().map(Vec::len).sum();
        edges + samples + self.driven.len() + self.lines.len()
    }

    /// Whether nothing arrived.
    pub fn is_empty(&self) -> bool {
        self.edges.iter().all(Vec::is_empty)
            && self.samples.iter().all(Vec::is_empty)
            && self.driven.is_empty()
            && self.lines.is_empty()
            && self.losses.is_empty()
    }

    /// Forgets what it holds and keeps its memory.
    pub fn clear(&mut self) {
        self.edges.iter_mut().for_each(Vec::clear);
        self.samples.iter_mut().for_each(Vec::clear);
        self.driven.clear();
        self.lines.clear();
        self.losses.clear();
    }
}
