//! Understands what a board says: bytes in, evidence and answers out. Every doubt about completeness becomes a loss.
//!
//! Deliberately absent: ports, threads and the computer's clock, so that a test can say anything to it.

use std::collections::VecDeque;

use super::frame::{Frame, Splitter};
use super::protocol::{BoardFacts, FromBoard, edge_records, sample_records};
use super::relation::{Answered, Relation};
use crate::capture::{Driven, EdgeChannel, Loss, OutputChannel, Part, Tick};
use crate::clock::HostTime;

/// How many heartbeats may be on their way.
const HEARTBEATS_KEPT: usize = 64;

/// What a board said, in its order.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// Evidence.
    Arrived(Box<Part>),
    /// Who it is.
    Identity(BoardFacts),
    /// It streams.
    Started,
    /// An output was switched as requested.
    Switched { request: u8, at: Tick },
    /// All evidence up to this tick has been said.
    Settled { request: u8, at: Tick },
    /// A heartbeat was answered.
    Beat,
    /// A request was refused.
    Refused { request: u8, reason: u8 },
}

/// A board's words, understood as they come.
#[derive(Debug)]
pub struct Listener {
    splitter: Splitter,
    /// Number of the next frame, once a board has introduced itself; what comes before that counts for nothing.
    sequence: Option<u16>,
    channels: Option<BoardFacts>,
    clock: Unroll,
    /// The board's clock, unrolled, when the capture began.
    origin: u64,
    /// Ticks of the latest edge, and of the latest edge of a control.
    last_edges: [Tick; 2],
    missing: u16,
    heartbeats: VecDeque<(u16, HostTime)>,
    news: Vec<News>,
}

impl Listener {
    /// A listener that waits for a board to introduce itself.
    pub fn new() -> Self {
        Self {
            splitter: Splitter::default(),
            sequence: None,
            channels: None,
            clock: Unroll::default(),
            origin: 0,
            last_edges: [0; 2],
            missing: 0,
            heartbeats: VecDeque::with_capacity(HEARTBEATS_KEPT),
            news: Vec::new(),
        }
    }

    /// Notes that a heartbeat was sent.
    pub fn beat_sent(&mut self, number: u16, at: HostTime) {
        if self.heartbeats.len() == HEARTBEATS_KEPT {
            self.heartbeats.pop_front();
        }
        self.heartbeats.push_back((number, at));
    }

    /// Takes bytes that had arrived at `heard` and appends what they say to `news`.
    pub fn hear(&mut self, bytes: &[u8], heard: HostTime, relation: &mut Relation, news: &mut Vec<News>) {
        let mut splitter = std::mem::take(&mut self.splitter);
        splitter.take(bytes, |found| match found {
            Ok(frame) => self.frame(&frame, heard, relation),
            Err(damage) if self.sequence.is_some() => self.lose(format!("{damage} from the board")),
            Err(_) => (),
        });
        self.splitter = splitter;
        news.append(&mut self.news);
    }

    fn frame(&mut self, frame: &Frame, heard: HostTime, relation: &mut Relation) {
        let message = FromBoard::read(frame);
        if let Ok(FromBoard::Identity(facts)) = &message {
            self.introduced(facts, frame.sequence);
            return;
        }
        let Some(expected) = self.sequence else { return };
        self.sequence = Some(frame.sequence.wrapping_add(1));
        if frame.sequence != expected {
            let missing = frame.sequence.wrapping_sub(expected);
            self.lose(format!(
                "{missing} frames of the board: sequence number jumped from {} to {}",
                expected.wrapping_sub(1),
                frame.sequence
            ));
        }
        match message {
            Ok(message) => self.message(message, heard, relation),
            Err(what) => self.lose(format!("{what} from the board")),
        }
    }

    fn introduced(&mut self, facts: &BoardFacts, sequence: u16) {
        self.sequence = Some(sequence.wrapping_add(1));
        self.channels = Some(facts.clone());
        self.news.push(News::Identity(facts.clone()));
    }

    fn message(&mut self, message: FromBoard<'_>, heard: HostTime, relation: &mut Relation) {
        match message {
            FromBoard::Identity(_) => (),
            FromBoard::Started { tick, levels } => self.started(tick, levels),
            FromBoard::Edges { tick, records } => self.edges(tick, records, EdgeChannel::Step),
            FromBoard::ControlEdges { tick, records } => self.edges(tick, records, EdgeChannel::Control1),
            FromBoard::Samples { tick, records } => self.samples(tick, records),
            FromBoard::Switched { request, output, on, tick } => self.switched(request, output, on, tick),
            FromBoard::Beat { number, tick, missing } => self.beat(number, tick, missing, heard, relation),
            FromBoard::Settled { request, tick } => {
                let at = self.tick(tick);
                self.news.push(News::Settled { request, at });
            }
            FromBoard::Overrun { tick, lost } => {
                let at = self.tick(tick);
                let most = if lost == u16::MAX { "or more " } else { "" };
                let what = format!("{lost} {most}edges and samples: the board ran out of room");
                self.part().losses.push(Loss { at, what });
            }
            FromBoard::Refused { request, reason } => self.news.push(News::Refused { request, reason }),
        }
    }

    fn started(&mut self, tick: u32, levels: u16) {
        self.clock = Unroll(u64::from(tick));
        self.origin = u64::from(tick);
        self.last_edges = [0; 2];
        let facts = self.channels.clone();
        let stamped =
            EdgeChannel::ALL.into_iter().filter(|&channel| facts.as_ref().is_some_and(|f| f.has_edges(channel)));
        for channel in stamped {
            self.part().push_edge(channel, 0, levels >> (channel as u8) & 1 == 1);
        }
        self.news.push(News::Started);
    }

    /// Takes a frame of edges. The controls' come in frames of their own, each kind in order of time.
    fn edges(&mut self, tick: u32, records: &[u8], first: EdgeChannel) {
        let mut at = self.tick(tick);
        let kind = usize::from(first != EdgeChannel::Step);
        let last = self.last_edges[kind];
        if at < last {
            self.lose(format!("a frame of edges: the board's ticks ran back from {last} to {at}"));
            return;
        }
        for record in edge_records(records, first) {
            match record {
                Ok((since, channel, level)) => {
                    at += since;
                    self.part().push_edge(channel, at, level);
                }
                Err(what) => self.lose(what),
            }
        }
        self.last_edges[kind] = at;
    }

    fn samples(&mut self, tick: u32, records: &[u8]) {
        let mut at = self.tick(tick);
        for record in sample_records(records) {
            match record {
                Ok((since, channel, code)) => {
                    at += since;
                    self.part().push_sample(channel, at, code);
                }
                Err(what) => self.lose(what),
            }
        }
    }

    fn switched(&mut self, request: u8, output: OutputChannel, on: bool, tick: u32) {
        let at = self.tick(tick);
        self.part().driven.push(Driven { at, output, on });
        if request == 0 {
            let to = if on { "on" } else { "off" };
            self.lose(format!("control of `{}`: the board switched it {to} by itself", output.name()));
        } else {
            self.news.push(News::Switched { request, at });
        }
    }

    fn beat(&mut self, number: u16, tick: u32, missing: u16, heard: HostTime, relation: &mut Relation) {
        let tick = self.tick(tick);
        if missing != self.missing {
            self.lose(format!("{} frames to the board", missing.wrapping_sub(self.missing)));
            self.missing = missing;
        }
        let Some(place) = self.heartbeats.iter().position(|&(sent, _)| sent == number) else {
            self.lose(format!("the answer to heartbeat {number}, which was never sent, came from the board"));
            return;
        };
        let sent = self.heartbeats[place].1;
        self.heartbeats.drain(..=place);
        if let Some(contradiction) = relation.learn(Answered { sent, heard, tick }) {
            self.lose(contradiction);
        }
        self.news.push(News::Beat);
    }

    /// Ticks since the capture began.
    fn tick(&mut self, low: u32) -> Tick {
        self.clock.extend(low).saturating_sub(self.origin)
    }

    fn lose(&mut self, what: String) {
        let at = self.clock.0.saturating_sub(self.origin);
        self.part().losses.push(Loss { at, what });
    }

    /// The evidence that stands last in the news.
    fn part(&mut self) -> &mut Part {
        if !matches!(self.news.last(), Some(News::Arrived(_))) {
            self.news.push(News::Arrived(Box::default()));
        }
        match self.news.last_mut() {
            Some(News::Arrived(part)) => part,
            _ => unreachable!("evidence was pushed just now"),
        }
    }
}

/// Undoes the roll-over of 32-bit ticks: each is taken as the nearest to the one before.
#[derive(Debug, Default, Clone, Copy)]
struct Unroll(u64);

impl Unroll {
    fn extend(&mut self, low: u32) -> u64 {
        let step = low.wrapping_sub(self.0 as u32) as i32;
        let extended = self.0.saturating_add_signed(i64::from(step));
        self.0 = self.0.max(extended);
        extended
    }
}

#[cfg(test)]
mod tests;
