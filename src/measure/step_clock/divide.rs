//! Finds the phases of a motion from its step pulses as they come, and keeps what each was like.
//!
//! Pulses are looked at in blocks of sixteen intervals, as many as a full step has with the usual sixteen microsteps, so
//! that the dithering of a timer averages out. A cruise opens where eight blocks in a row agree and do not drift, and closes
//! where the rate has left its band for good; a gap or a burst within it belongs to it. A tenth of a ramp and one block more
//! are cut off the cruise, because the last 3 % of a ramp of constant acceleration are the last 6 % of its way; for that, a
//! cruise is summed up a little later than it is seen. Of several cruises in one motion the longest counts: a soft ramp may
//! look steady for a while.
//!
//! Few steps between two pauses are an increment of a crawl, never a piece of a cruise, however even they are.

use super::cruise::{BLOCK, Cruise, Open, STEADY_PER_CENT, WINDOW, period, steady};
use super::increments::{BURSTS_MIN, Increments};
use super::ramp::Points;
use super::steady::SteadyClock;
use super::{Gap, Rules};
use crate::capture::{Edge, Tick};

/// Blocks off the rate after which a cruise is over.
const OFF_MAX: usize = 8;
/// The fewest intervals that count as a cruise.
const CRUISE_MIN: u64 = 64;
/// Intervals from which a cruise's period is taken at first. It errs with their number to the power of −3/2, and what is said
/// of the farthest edges is the better known the less it errs.
const FIRST: usize = 2048;
/// The most intervals that are cut off an end of a cruise.
const TRIM_MAX: u64 = 1024;
/// Pulses that are taken in at a time.
const PIECE: usize = 4096;

/// Takes the step pulses of one motion in one direction, in slices of any size, in constant memory.
#[derive(Debug, Clone, PartialEq)]
pub struct StepClock {
    rules: Rules,
    /// Pulses that are still needed, and the number of the first of them.
    held: Vec<Tick>,
    base: u64,
    /// Number of the pulse from which on nothing has been looked at.
    scanned: u64,
    steps: u64,
    first: Tick,
    last: Tick,
    doubled: u64,
    /// The pulse that came before the one ahead of it.
    disorder: Option<Tick>,
    /// Durations of the latest blocks, while no cruise is open.
    window: Vec<u64>,
    /// Steps since the last cruise or since the start, and the longest interval among them.
    points: Points,
    gap: Gap,
    /// Number of the step with which the rate began to change.
    changing_since: u64,
    burst_begun: u64,
    open: Option<Open>,
    best: Option<Cruise>,
    increments: Increments,
}

/// What a motion was like, before it is turned into values.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    pub(super) steps: u64,
    pub(super) first: Tick,
    pub(super) last: Tick,
    /// Steps at the very tick of the one before.
    pub(super) doubled: u64,
    /// A pulse that was stamped earlier than the one before it.
    pub(super) disorder: Option<Tick>,
    pub(super) cruise: Option<Cruise>,
    /// All steps, where there was no cruise.
    pub(super) points: Points,
    pub(super) gap: Gap,
    pub(super) increments: Option<Increments>,
}

impl StepClock {
    /// No pulses yet.
    pub fn new(rules: Rules) -> Self {
        Self {
            rules,
            held: Vec::new(),
            base: 0,
            scanned: 0,
            steps: 0,
            first: 0,
            last: 0,
            doubled: 0,
            disorder: None,
            window: Vec::with_capacity(WINDOW),
            points: Points::default(),
            gap: Gap::default(),
            changing_since: 0,
            burst_begun: 0,
            open: None,
            best: None,
            increments: Increments::default(),
        }
    }

    /// Takes the next pulses. Once one is stamped earlier than the one before it, the order of all is in doubt: what
    /// follows is counted and no longer measured.
    pub fn take(&mut self, pulses: &[Edge]) {
        for piece in pulses.chunks(PIECE) {
            if self.steps == 0 {
                (self.first, self.last) = (piece[0].tick(), piece[0].tick());
            }
            self.steps += piece.len() as u64;
            if self.disorder.is_some() {
                continue;
            }
            let begin = self.held.len();
            self.held.extend(piece.iter().map(|pulse| pulse.tick()));
            self.watch_order(begin);
            self.scan();
            self.forget();
        }
    }

    fn watch_order(&mut self, begin: usize) {
        let mut before = self.last;
        let (mut back, mut equal) = (false, 0_u64);
        for tick in &self.held[begin..] {
            back |= *tick < before;
            equal += u64::from(*tick == before);
            before = *tick;
        }
        // The very first pulse has none before it.
        self.doubled += equal - u64::from(self.base == 0 && begin == 0);
        if back {
            let mut before = self.last;
            let place = self.held[begin..].iter().position(|tick| std::mem::replace(&mut before, *tick) > *tick);
            let kept = begin + place.unwrap_or(0);
            self.disorder = self.held.get(kept).copied();
            self.held.truncate(kept);
        }
        self.last = self.held.last().copied().unwrap_or(self.last);
    }

    /// Place in `held` of the step with this number.
    fn place(&self, number: u64) -> usize {
        number.saturating_sub(self.base) as usize
    }

    fn held(&self, from: u64, to: u64) -> &[Tick] {
        let end = self.place(to).min(self.held.len());
        self.held.get(self.place(from)..end).unwrap_or_default()
    }

    /// Number of the step after the last that is held.
    fn end(&self) -> u64 {
        self.base + self.held.len() as u64
    }

    fn scan(&mut self) {
        loop {
            let goes_on = if self.open.is_some() { self.follow() } else { self.seek() };
            if !goes_on {
                break;
            }
        }
    }

    /// Looks for a cruise; whether one has opened.
    fn seek(&mut self) -> bool {
        while self.scanned + (BLOCK as u64) < self.end() {
            let place = self.place(self.scanned);
            let block = &self.held[place..=place + BLOCK];
            let pause = block.windows(2).position(|pair| pair[1] - pair[0] >= self.rules.pause);
            let taken = pause.map_or(BLOCK, |pause| pause + 1);
            let duration = block[BLOCK] - block[0];
            self.pass(taken);
            if let Some(pause) = pause {
                self.pause(self.scanned - taken as u64 + pause as u64);
                continue;
            }
            if self.window.len() == WINDOW {
                self.window.remove(0);
            }
            self.window.push(duration);
            if let Some(reference) = steady(&self.window) {
                self.open_cruise(reference);
                return true;
            }
        }
        false
    }

    /// Counts the next `count` steps among those that belong to no cruise.
    fn pass(&mut self, count: usize) {
        let place = self.place(self.scanned);
        self.points.take(self.scanned, &self.held[place..place + count]);
        let span = &self.held[place..(place + count + 1).min(self.held.len())];
        self.gap.look(span);
        self.scanned += count as u64;
    }

    /// A pause after the step with this number.
    fn pause(&mut self, last: u64) {
        let steps = last + 1 - self.burst_begun;
        if steps <= self.rules.burst_steps {
            let begun = self.held(self.burst_begun, self.burst_begun + 1).first().copied();
            self.increments.take(begun.unwrap_or(self.first), steps);
        }
        self.burst_begun = last + 1;
        self.window.clear();
    }

    fn open_cruise(&mut self, reference: u64) {
        let begun = self.scanned - (WINDOW * BLOCK) as u64;
        let ramp = begun - self.changing_since.min(begun);
        let trim = if ramp < BLOCK as u64 { 0 } else { (ramp.div_ceil(10) + BLOCK as u64).min(TRIM_MAX) };
        let mut before = std::mem::take(&mut self.points);
        before.truncate(begun + BLOCK as u64);
        let gap_before = std::mem::take(&mut self.gap);
        if let Some(best) = self.best.as_mut().filter(|best| best.after.is_none()) {
            best.after = Some((before.clone(), gap_before));
        }
        self.window.clear();
        self.open = Some(Open {
            reference,
            from: begun + trim,
            steady_until: self.scanned,
            held_back: trim.max(3 * BLOCK as u64),
            off: 0,
            seen: self.scanned,
            blocks: WINDOW as u64,
            steady_blocks: WINDOW as u64,
            clock: None,
            before,
            gap_before,
        });
    }

    /// Follows a cruise; whether it has come to its end.
    fn follow(&mut self) -> bool {
        let Some(mut open) = self.open.take() else {
            return false;
        };
        let band = open.reference.saturating_mul(STEADY_PER_CENT);
        while self.scanned + (BLOCK as u64) < self.end() {
            let place = self.place(self.scanned);
            let duration = self.held[place + BLOCK] - self.held[place];
            open.blocks += 1;
            self.scanned += BLOCK as u64;
            if duration.abs_diff(open.reference).saturating_mul(100) <= band {
                open.steady_blocks += 1;
                open.steady_until = self.scanned;
                open.off = 0;
                continue;
            }
            open.off += 1;
            if duration >= self.rules.pause && self.was_a_burst(place) {
                // What looked like a cruise was one increment of a crawl.
                (self.points, self.gap) = (open.before, open.gap_before);
                self.scanned -= BLOCK as u64;
                return true;
            }
            if open.off > OFF_MAX {
                self.close(open, false);
                return true;
            }
        }
        let until = open.steady_until.saturating_sub(open.held_back);
        self.feed(&mut open, until);
        self.open = Some(open);
        false
    }

    /// Whether so few steps came before the pause in the block at `place` that they are an increment of a crawl.
    fn was_a_burst(&self, place: usize) -> bool {
        let block = &self.held[place..=place + BLOCK];
        let pause = block.windows(2).position(|pair| pair[1] - pair[0] >= self.rules.pause);
        pause.is_some_and(|pause| self.base + (place + pause) as u64 - self.burst_begun < self.rules.burst_steps)
    }

    /// Hands a cruise its steps up to a number, that one included.
    fn feed(&self, open: &mut Open, until: u64) {
        if open.clock.is_none() {
            let enough = until >= open.from + FIRST as u64;
            let first = self.held(open.from, open.from + FIRST as u64 + 1);
            open.clock = enough.then(|| period(first)).flatten().map(|period| {
                open.gap_before.look(self.held(open.seen.min(open.from), open.from + 1));
                (SteadyClock::new(first[0], period, self.rules.ns_per_tick), open.from)
            });
        }
        if let Some((clock, taken)) = &mut open.clock
            && until > *taken
        {
            clock.take(self.held(*taken + 1, until + 1));
            *taken = until;
        }
    }

    /// Ends a cruise; `for_good` where no step will follow.
    fn close(&mut self, mut open: Open, for_good: bool) {
        let tail = self.end().saturating_sub(1 + open.steady_until);
        let cut = if for_good && tail < BLOCK as u64 { 0 } else { open.held_back };
        let until = open.steady_until.saturating_sub(cut);
        self.feed(&mut open, until);
        if open.clock.is_none() && until >= open.from + CRUISE_MIN {
            let ticks = self.held(open.from, until + 1);
            open.clock = period(ticks).map(|period| {
                let mut clock = SteadyClock::new(ticks[0], period, self.rules.ns_per_tick);
                clock.take(&ticks[1..]);
                (clock, until)
            });
        }
        self.points = Points::default();
        let blocks = open.blocks - open.off as u64;
        let is_steady = open.steady_blocks * 10 >= blocks * 7;
        let Some((clock, to)) = open.clock.filter(|taken| is_steady && taken.1 >= open.from + CRUISE_MIN) else {
            // A piece of a soft ramp: the ramp goes on.
            (self.points, self.gap) = (open.before, open.gap_before);
            self.pass_again(open.seen);
            return;
        };
        self.points = Points::default();
        self.changing_since = open.steady_until;
        let mut gap = Gap::default();
        gap.look(self.held(until, self.scanned + 1));
        self.gap = gap;
        self.pass_again(open.steady_until);
        let clock = clock.finish();
        if self.best.as_ref().is_none_or(|best| clock.intervals() > best.clock.intervals()) {
            let (before, gap_before) = (open.before, open.gap_before);
            self.best = Some(Cruise { clock, from: open.from, to, before, gap_before, after: None });
        }
    }

    /// Counts steps that were taken for a cruise's among those that belong to none.
    fn pass_again(&mut self, from: u64) {
        let (begin, end) = (self.place(from), self.place(self.scanned).min(self.held.len()));
        let mut points = std::mem::take(&mut self.points);
        points.take(self.base + begin as u64, self.held.get(begin..end).unwrap_or_default());
        self.points = points;
    }

    /// Lets go of what is no longer needed.
    fn forget(&mut self) {
        let needed = match &self.open {
            Some(open) => {
                open.clock.as_ref().map_or(open.from.min(open.seen), |(_, taken)| *taken).min(open.steady_until)
            }
            None => self.scanned.saturating_sub((WINDOW * BLOCK) as u64),
        };
        let needed = needed.min(self.scanned).min(self.burst_kept());
        let count = self.place(needed.max(self.base)).min(self.held.len());
        if count >= PIECE {
            self.held.drain(..count);
            self.base += count as u64;
        }
    }

    /// The first step of a burst is kept as long as it may be one of a crawl.
    fn burst_kept(&self) -> u64 {
        let so_far = self.scanned - self.burst_begun.min(self.scanned);
        if so_far <= self.rules.burst_steps.min(4 * PIECE as u64) { self.burst_begun } else { u64::MAX }
    }

    /// Ends the motion.
    pub fn finish(mut self) -> Motion {
        if let Some(mut open) = self.open.take() {
            let rest = self.held(self.scanned, self.end());
            let intervals = rest.len().saturating_sub(1) as u64;
            let due = open.reference / BLOCK as u64 * intervals;
            let lasted = rest.last().map_or(0, |last| last - rest[0]);
            if open.off == 0
                && lasted.abs_diff(due).saturating_mul(100) <= open.reference.saturating_mul(STEADY_PER_CENT)
            {
                open.steady_until += intervals;
                self.scanned += intervals;
            }
            self.close(open, true);
        }
        self.rest();
        if let Some(best) = self.best.as_mut().filter(|best| best.after.is_none()) {
            best.after = Some((std::mem::take(&mut self.points), self.gap));
        }
        let is_crawl = self.increments.bursts >= BURSTS_MIN && self.best.is_none();
        Motion {
            steps: self.steps,
            first: self.first,
            last: self.last,
            doubled: self.doubled,
            disorder: self.disorder,
            cruise: self.best,
            points: self.points,
            gap: self.gap,
            increments: is_crawl.then_some(self.increments),
        }
    }

    /// The steps behind the last whole block.
    fn rest(&mut self) {
        while self.scanned < self.end() {
            let rest = self.held(self.scanned, self.end());
            let pause = rest.windows(2).position(|pair| pair[1] - pair[0] >= self.rules.pause);
            let count = pause.map_or(rest.len(), |pause| pause + 1);
            self.pass(count);
            // The last burst of all ends with the motion.
            self.pause(self.scanned - 1);
        }
    }
}
