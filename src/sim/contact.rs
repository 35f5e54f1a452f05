//! A contact: it closes or opens when it is told to, and bounces each time.

use super::SimTime;
use super::chance::Chance;

/// Most transitions of one closing or opening: each bounce is two.
const TRANSITIONS: usize = 24;

/// A contact and what is still to come of its last closing or opening.
#[derive(Debug, Clone)]
pub struct Contact {
    level: bool,
    pending: [(SimTime, bool); TRANSITIONS],
    first: usize,
    count: usize,
}

impl Contact {
    /// A contact at rest.
    pub const fn at_rest(closed: bool) -> Self {
        Self { level: closed, pending: [(0, false); TRANSITIONS], first: 0, count: 0 }
    }

    /// Closes or opens it from a moment on, with up to five bounces within `longest_s`; an opening bounces for half as long.
    /// What was still to come of the last time is overtaken.
    pub fn go(&mut self, at: SimTime, closed: bool, longest_s: f64, chance: &mut Chance) {
        self.count = 0;
        let mut time = at;
        if self.level == closed {
            return;
        }
        self.push(time, closed);
        let bouncing = longest_s * chance.between(0.3, 1.0) * if closed { 1.0 } else { 0.5 };
        let bounces = 1 + (chance.bits() % 5) as u32;
        let mean_gap = bouncing * 1e9 / f64::from(2 * bounces);
        for _ in 0..bounces {
            for level in [!closed, closed] {
                time += (mean_gap * chance.between(0.3, 1.7)) as u64 + 1_000;
                self.push(time, level);
            }
        }
    }

    fn push(&mut self, at: SimTime, level: bool) {
        if self.count == 0 {
            self.first = 0;
        }
        self.pending[self.first + self.count] = (at, level);
        self.count += 1;
    }

    /// When its line changes next.
    pub fn next_change(&self) -> SimTime {
        if self.count == 0 { SimTime::MAX } else { self.pending[self.first].0 }
    }

    /// Takes the next change of its line, at or before `until`.
    pub fn take_change(&mut self, until: SimTime) -> Option<(SimTime, bool)> {
        if self.count == 0 || self.next_change() > until {
            return None;
        }
        let change = self.pending[self.first];
        self.first += 1;
        self.count -= 1;
        self.level = change.1;
        Some(change)
    }

    /// Whether its line is open and nothing is to come.
    #[inline]
    pub fn is_quiet(&self) -> bool {
        !self.level && self.count == 0
    }

    /// The level of its line after the changes taken; true is closed.
    pub fn level(&self) -> bool {
        self.level
    }
}
