//! Bounds what a sink has to keep of a capture without marks, however long it rests or moves.

use super::{End, Found, Open, PhaseFinder};
use crate::capture::Tick;

/// A check ends in the next rest after so many edges and samples, and within a motion after twice as many.
pub(super) const HELD_MAX: usize = 1 << 22;
/// A motion costs a sink about as much memory as so many entries.
pub(super) const MOTION_WEIGHT: usize = 1 << 9;
/// So many motions are named; a capture with more would fill a book with its values.
pub(super) const MOTIONS_MAX: usize = 10_000;

impl Found {
    /// The most edges and samples of a check, and so of a motion, that are passed on in one piece.
    pub const HELD_MAX: usize = 2 * HELD_MAX;
}

impl PhaseFinder<'_> {
    /// Whether a check may be ended to bound what has to be kept.
    fn may_part(&self) -> bool {
        self.namer.idle_check(self.part).is_some()
    }

    /// Ends the check in a rest once it has become long, and goes on with another part of the capture.
    pub(super) fn bound_in_rest(&mut self, at: Tick) {
        if self.held > HELD_MAX && self.may_part() {
            self.settle_bursts();
            self.next_part(at);
        }
    }

    /// Cuts a motion that does not end.
    pub(super) fn bound_in_motion(&mut self, motion: Open) {
        if self.held > 2 * HELD_MAX && self.may_part() {
            self.cuts += usize::from(motion.pieces == 0);
            self.close(End::Cut);
            self.settle_bursts();
            self.next_part(self.marked);
            self.cut = Some(motion);
        }
    }

    /// Leaves out the rest of a capture that is too much to be kept.
    pub(super) fn bound(&mut self) {
        let why = if self.named > MOTIONS_MAX {
            format!("what follows on {MOTIONS_MAX} motions; name a longer --rest, or a part of the capture")
        } else if self.held > 4 * HELD_MAX {
            format!("what follows on {} edges and samples without the end of a check", 4 * HELD_MAX)
        } else {
            return;
        };
        self.lose(self.newest, why);
        self.is_full = true;
    }

    fn next_part(&mut self, at: Tick) {
        self.begin_idle();
        self.end_check(at);
        self.part += 1;
        self.begin_idle();
    }
}
