//! Motions found from the edges themselves, for captures without marks.
//!
//! A motion is a run of step pulses in one direction between two rests; a rest is a time without any step, longer than
//! the caller states. Its direction is that of the direction line, or where there is none the way that the encoder
//! went. Several short bursts at the crawl's interval are one crawl. Each motion becomes a phase whose marks stand in
//! the rests about it, and longer rests become waits; the end of a motion stands where the unit's own report of it
//! would.
//!
//! Nothing is held back: parts pass through at once, marks follow as soon as a motion is known to be over. So that
//! what a sink has to keep stays bounded, a check is ended and another begun in a rest after many edges; a motion that
//! does not end is cut into pieces, named as such, of which only the first begins and only the last ends at rest.

mod bounds;
mod encoder;
mod naming;
#[cfg(test)]
mod tests;

pub use naming::{AsFound, Motion, Namer};

use super::{CaptureSink, Cue, Edge, EdgeChannel, Loss, Mark, MarkKind, Part, Side, Tick};
use bounds::MOTION_WEIGHT;
use encoder::Encoder;

/// Bursts that make a crawl.
const BURSTS_MIN: usize = 4;
/// Encoder edges that the carriage may come back by within a motion of one direction: more than it rings, in edges.
const BACK_MAX: i64 = 40;

/// What tells motions apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    /// No step for longer than this is a rest, ticks.
    pub rest: Tick,
    /// Nominal interval of a crawl, ticks.
    pub crawl_interval: Tick,
    /// Nominal steps of a crawl's increment.
    pub crawl_steps: u64,
    /// Whether the direction line is captured.
    pub has_direction: bool,
}

/// Passes a capture on and puts the marks of the motions in.
pub struct PhaseFinder<'a> {
    rules: Rules,
    namer: &'a mut dyn Namer,
    sink: &'a mut dyn CaptureSink,
    /// Level of the direction line; high is towards the right.
    direction: Option<bool>,
    switches: [Option<bool>; 2],
    encoder: Encoder,
    motion: Option<Open>,
    /// Short motions that may turn out to be a crawl.
    bursts: Vec<Motion>,
    found: usize,
    /// The motion that was cut last, until it is known whether it goes on.
    cut: Option<Open>,
    /// How many motions were cut.
    cuts: usize,
    /// How many motions were named.
    named: usize,
    check: Option<usize>,
    part: usize,
    held: usize,
    /// Where the last mark stands.
    marked: Tick,
    newest: Tick,
    /// Whether there is too much to go on, so that the rest is left out.
    is_full: bool,
}

/// What was found in a capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// Motions.
    pub motions: usize,
    /// Those of them that were cut into pieces.
    pub cut: usize,
}

/// How a motion, or a piece of one, ends.
#[derive(Clone, Copy, PartialEq)]
enum End {
    /// In a rest.
    Rest,
    /// By the step, at this tick, of another motion.
    Turn(Tick),
    /// Not at all: it is cut there.
    Cut,
}

/// A motion that goes on.
#[derive(Clone, Copy)]
struct Open {
    number: usize,
    /// Pieces of it that came before.
    pieces: usize,
    first: Tick,
    last: Tick,
    steps: u64,
    /// Level of the direction line at its first step, and at its last one.
    direction: Option<bool>,
    now: Option<bool>,
    contacts: [bool; 2],
    /// The encoder's count when it began, and its extremes since.
    cell: i64,
    low: i64,
    high: i64,
}

impl<'a> PhaseFinder<'a> {
    /// A finder that passes everything on to `sink`.
    pub fn new(rules: Rules, namer: &'a mut dyn Namer, sink: &'a mut dyn CaptureSink) -> Self {
        Self {
            rules,
            namer,
            sink,
            direction: None,
            switches: [None; 2],
            encoder: Encoder::default(),
            motion: None,
            bursts: Vec::new(),
            found: 0,
            cut: None,
            cuts: 0,
            named: 0,
            check: None,
            part: 0,
            held: 0,
            marked: 0,
            newest: 0,
            is_full: false,
        }
    }

    /// Ends the capture, whose last moment was `ended`; returns what was found in it.
    pub fn finish(mut self, ended: Tick) -> Found {
        self.newest = self.newest.max(ended);
        self.close(End::Rest);
        self.settle_bursts();
        self.begin_idle();
        self.mark_rest(self.newest);
        self.end_check(self.newest.max(self.marked));
        Found { motions: self.found, cut: self.cuts }
    }

    /// Looks at what changed up to and including a moment.
    fn advance(&mut self, cursors: &mut Cursors<'_>, to: Tick) {
        while let Some(edge) = next(&mut cursors.direction, to) {
            self.direction = Some(edge.level());
        }
        for side in 0..2 {
            while let Some(edge) = next(&mut cursors.switches[side], to) {
                let before = self.switches[side].replace(edge.level());
                let closed = edge.level() && before == Some(false);
                if let Some(motion) = self.motion.as_mut().filter(|_| closed) {
                    motion.contacts[side] = true;
                }
            }
        }
        loop {
            let ticks = cursors.encoder.map(|edges| edges.first().map_or(Tick::MAX, |edge| edge.tick()));
            let track = usize::from(ticks[1] < ticks[0]);
            let Some(edge) = next(&mut cursors.encoder[track], to) else { break };
            self.encoder.step(track, edge.level());
            if let Some(motion) = &mut self.motion {
                motion.low = motion.low.min(self.encoder.cell);
                motion.high = motion.high.max(self.encoder.cell);
            }
        }
    }

    fn step(&mut self, at: Tick) {
        let direction = self.direction;
        if let Some(motion) = &mut self.motion {
            let rests = at - motion.last > self.rules.rest;
            let set_out = motion.direction.map(side);
            if !rests && (motion.now == direction || (motion.now == motion.direction && self.namer.turns(set_out))) {
                motion.now = direction;
                motion.last = at;
                motion.steps += 1;
                return;
            }
            self.close(if rests { End::Rest } else { End::Turn(at) });
            if rests {
                self.bound_in_rest(self.marked);
            }
        }
        let goes_on = |cut: &Open| at - cut.last <= self.rules.rest && cut.now == direction;
        let before = self.cut.take().filter(goes_on).map(|cut| (cut.number, cut.pieces + 1));
        let (number, pieces) = before.unwrap_or_else(|| {
            self.found += 1;
            (self.found, 0)
        });
        let cell = self.encoder.cell;
        let contacts = [false; 2];
        let now = direction;
        let (first, last, steps, low, high) = (at, at, 1, cell, cell);
        self.motion = Some(Open { number, pieces, first, last, steps, direction, now, contacts, cell, low, high });
    }

    /// Ends the motion, or this piece of it.
    fn close(&mut self, end: End) {
        let Some(open) = self.motion.take() else { return };
        let right = match (self.rules.has_direction, self.encoder.is_known()) {
            (true, _) => open.direction,
            (false, true) => self.by_encoder(&open),
            (false, false) => None,
        };
        let towards = right.map(side);
        let turned = self.rules.has_direction && open.direction != open.now;
        let contact = match towards.map(|side| if turned { side.opposite() } else { side }) {
            Some(side) => Some(side).filter(|side| open.contacts[*side as usize]),
            None => [Side::Left, Side::Right].into_iter().find(|side| open.contacts[*side as usize]),
        };
        let motion = Motion {
            number: open.number,
            first: open.first,
            last: open.last,
            steps: open.steps,
            towards,
            turned,
            contact,
            bursts: 1,
            piece: (open.pieces > 0 || end == End::Cut).then_some(open.pieces + 1),
        };
        self.take(motion, end);
    }

    /// The way that the encoder went, handed to the sink as the direction line that is not there.
    fn by_encoder(&mut self, open: &Open) -> Option<bool> {
        let way = self.encoder.cell - open.cell;
        let back = if way > 0 { open.high - self.encoder.cell } else { self.encoder.cell - open.low };
        if way == 0 || back > BACK_MAX {
            let seconds = "the carriage turned or stood still in a motion, and there is no direction line";
            self.lose(open.first, format!("the direction of steps: {seconds}; add --channel direction=NAME"));
            return None;
        }
        let mut part = Part::default();
        part.push_edge(EdgeChannel::Direction, open.first, way > 0);
        self.sink.part(&part);
        Some(way > 0)
    }

    fn lose(&mut self, at: Tick, what: String) {
        self.begin_idle();
        self.sink.part(&Part { losses: vec![Loss { at, what }], ..Part::default() });
    }

    /// A motion that is over: part of a crawl, or a phase.
    fn take(&mut self, motion: Motion, end: End) {
        let follows = |last: &Motion| {
            let interval = motion.first - last.first;
            interval * 4 >= self.rules.crawl_interval * 3 && interval * 4 <= self.rules.crawl_interval * 5
        };
        let is_short = motion.steps <= 2 * self.rules.crawl_steps && motion.contact.is_none();
        let is_burst = is_short && motion.piece.is_none() && end == End::Rest;
        if is_burst && self.bursts.last().is_none_or(|last| follows(last) && last.towards == motion.towards) {
            // A crawl goes on for hours; its first motion grows, and the last one tells when the next is due.
            if self.bursts.len() > BURSTS_MIN {
                let burst = self.bursts.remove(1);
                self.bursts[0].steps += burst.steps;
                self.bursts[0].bursts += 1;
            }
            self.bursts.push(motion);
            return;
        }
        self.settle_bursts();
        if is_burst {
            self.bursts.push(motion);
        } else {
            self.mark_motion(&motion, end);
        }
    }

    /// Short motions become one crawl where they are enough, else motions of their own.
    fn settle_bursts(&mut self) {
        let bursts = std::mem::take(&mut self.bursts);
        match &bursts[..] {
            [first, rest @ ..] if bursts.len() >= BURSTS_MIN => {
                let steps = first.steps + rest.iter().map(|burst| burst.steps).sum::<u64>();
                let last = rest.last().map_or(first.last, |burst| burst.last);
                self.mark_motion(&Motion { last, steps, bursts: first.bursts + rest.len(), ..*first }, End::Rest);
            }
            few => few.iter().for_each(|motion| self.mark_motion(motion, End::Rest)),
        }
    }

    fn mark_motion(&mut self, motion: &Motion, end: End) {
        let rest = self.rules.rest;
        let begins = motion.first.saturating_sub(rest / 8).max(self.marked);
        let ends = match end {
            End::Rest => motion.last + rest / 4 * 3,
            End::Turn(next) => motion.last + (next - motion.last) / 2,
            End::Cut => motion.last,
        };
        self.mark_rest(begins);
        self.named += 1;
        self.held += MOTION_WEIGHT;
        let Some(phase) = self.namer.phase(motion, self.part) else { return };
        if self.check.is_some_and(|check| check != phase.check) {
            self.end_check(begins);
        }
        self.begin_check(phase.check);
        self.put(begins, MarkKind::PhaseBegins(phase));
        // A piece begins in a command, and ends in a report, only where the motion does.
        if motion.piece.is_none_or(|piece| piece == 1) {
            self.put(motion.first, MarkKind::Cue(Cue::Commanded));
        }
        if end != End::Cut {
            self.put(motion.last, MarkKind::Cue(Cue::Done));
        }
        self.put(ends, MarkKind::PhaseEnds);
    }

    /// A rest up to a moment, where it is a long one.
    fn mark_rest(&mut self, until: Tick) {
        let is_long = until.saturating_sub(self.marked) > 2 * self.rules.rest;
        if let Some(phase) = self.check.filter(|_| is_long).and_then(|_| self.namer.rest()) {
            self.put(self.marked, MarkKind::PhaseBegins(phase));
            self.put(until, MarkKind::PhaseEnds);
        }
    }

    fn begin_idle(&mut self) {
        if let Some(check) = self.namer.idle_check(self.part) {
            self.begin_check(check);
        }
    }

    fn begin_check(&mut self, check: usize) {
        if self.check.is_none() {
            self.check = Some(check);
            self.put(self.marked, MarkKind::CheckBegins { check });
        }
    }

    fn end_check(&mut self, at: Tick) {
        if let Some(check) = self.check.take() {
            self.put(at, MarkKind::CheckEnds { check });
            self.held = 0;
        }
    }

    fn put(&mut self, at: Tick, kind: MarkKind) {
        self.marked = self.marked.max(at);
        self.sink.mark(&Mark { at: self.marked, doubt: 0, kind });
    }
}

impl CaptureSink for PhaseFinder<'_> {
    fn part(&mut self, part: &Part) {
        if self.is_full {
            return;
        }
        self.begin_idle();
        self.sink.part(part);
        let mut cursors = Cursors {
            direction: part.edges(EdgeChannel::Direction),
            switches: [part.edges(EdgeChannel::LeftEndStop), part.edges(EdgeChannel::RightEndStop)],
            encoder: [part.edges(EdgeChannel::EncoderA), part.edges(EdgeChannel::EncoderB)],
        };
        for edge in part.edges(EdgeChannel::Step) {
            self.advance(&mut cursors, edge.tick());
            self.step(edge.tick());
        }
        self.advance(&mut cursors, Tick::MAX);
        let last_edges = part.edges.iter().filter_map(|column| column.last()).map(|edge| edge.tick());
        let last_samples = part.samples.iter().filter_map(|column| column.last()).map(|sample| sample.at);
        self.newest = last_edges.chain(last_samples).fold(self.newest, Tick::max);
        self.held += part.entries();
        if self.motion.is_some_and(|motion| self.newest - motion.last > self.rules.rest) {
            self.close(End::Rest);
        }
        match self.motion {
            None => self.bound_in_rest(self.newest),
            Some(motion) => self.bound_in_motion(motion),
        }
        self.bound();
    }

    fn mark(&mut self, mark: &Mark) {
        self.sink.mark(mark);
    }
}

/// The side that a level of the direction line means.
fn side(right: bool) -> Side {
    if right { Side::Right } else { Side::Left }
}

/// What is left of a part's columns.
struct Cursors<'p> {
    direction: &'p [Edge],
    switches: [&'p [Edge]; 2],
    encoder: [&'p [Edge]; 2],
}

/// The next edge up to and including a moment.
fn next(edges: &mut &[Edge], to: Tick) -> Option<Edge> {
    let (first, rest) = edges.split_first()?;
    if first.tick() > to {
        return None;
    }
    *edges = rest;
    Some(*first)
}
