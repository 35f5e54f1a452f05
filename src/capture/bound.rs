//! Bounds what a sink has to keep of a capture that has marks, however long its checks are.
//!
//! A sink keeps the evidence of a check until the check ends. No plan's check is nearly as long as what is kept at
//! once, but a capture can be. Where pieces serve, such a check is ended and begun again, in the middle of a move if
//! need be; where a whole plan is judged they do not, and what is beyond the limit is a loss.

use super::{CaptureSink, Loss, Mark, MarkKind, Part, Phase, Tick};

/// Entries of a check that are kept at once.
const HELD_MAX: usize = 1 << 23;
/// A move costs a sink about as much memory as so many entries.
const PHASE_WEIGHT: usize = 1 << 9;

/// Passes a capture on and ends checks that are too long.
pub struct Bounded<'a> {
    sink: &'a mut dyn CaptureSink,
    /// Whether a check may come in pieces.
    cuts: bool,
    held: usize,
    check: Option<usize>,
    phase: Option<Phase>,
    /// Pieces of the move, or of the check between two moves, that came before.
    pieces: usize,
    /// Checks that were cut.
    cut_checks: usize,
    newest: Tick,
    is_full: bool,
}

impl<'a> Bounded<'a> {
    /// The most entries of a check that are passed on in one piece.
    pub const HELD_MAX: usize = HELD_MAX;

    /// Cuts a check that is too long into pieces.
    pub fn in_pieces(sink: &'a mut dyn CaptureSink) -> Self {
        Self {
            sink,
            cuts: true,
            held: 0,
            check: None,
            phase: None,
            pieces: 0,
            cut_checks: 0,
            newest: 0,
            is_full: false,
        }
    }

    /// Leaves out what is too long, and tells so as a loss.
    pub fn whole(sink: &'a mut dyn CaptureSink) -> Self {
        Self { cuts: false, ..Self::in_pieces(sink) }
    }

    /// How many checks were cut.
    pub fn cut_checks(&self) -> usize {
        self.cut_checks
    }

    fn bound(&mut self) {
        match self.check.filter(|_| self.cuts) {
            Some(check) => self.cut(check),
            None => {
                let what = format!("what follows on {HELD_MAX} edges and samples without the end of a check");
                self.sink.part(&Part { losses: vec![Loss { at: self.newest, what }], ..Part::default() });
                self.is_full = true;
            }
        }
    }

    /// Ends the check where it is, and begins it again.
    fn cut(&mut self, check: usize) {
        let phase = self.phase.clone();
        if phase.is_some() {
            self.put(MarkKind::PhaseEnds);
        }
        self.put(MarkKind::CheckEnds { check });
        self.put(MarkKind::CheckBegins { check });
        self.cut_checks += usize::from(self.pieces == 0);
        self.pieces += 1;
        if let Some(phase) = phase {
            let label = format!("{}, piece {}", phase.label, self.pieces + 1);
            self.put(MarkKind::PhaseBegins(Phase { label, ..phase }));
        }
        self.held = 0;
    }

    fn put(&mut self, kind: MarkKind) {
        self.sink.mark(&Mark { at: self.newest, doubt: 0, kind });
    }
}

impl CaptureSink for Bounded<'_> {
    fn part(&mut self, part: &Part) {
        if self.is_full {
            return;
        }
        self.sink.part(part);
        let last_edges = part.edges.iter().filter_map(|column| column.last()).map(|edge| edge.tick());
        let last_samples = part.samples.iter().filter_map(|column| column.last()).map(|sample| sample.at);
        self.newest = last_edges.chain(last_samples).fold(self.newest, Tick::max);
        self.held += part.entries();
        if self.held > HELD_MAX {
            self.bound();
        }
    }

    fn mark(&mut self, mark: &Mark) {
        self.held += 1;
        self.newest = self.newest.max(mark.at);
        match &mark.kind {
            MarkKind::CheckBegins { check } => (self.check, self.held, self.is_full) = (Some(*check), 0, false),
            MarkKind::CheckEnds { .. } => (self.check, self.held, self.is_full) = (None, 0, false),
            MarkKind::PhaseBegins(phase) => {
                (self.phase, self.pieces) = (Some(phase.clone()), 0);
                self.held += PHASE_WEIGHT;
            }
            // What a sink kept of the round it has boiled down.
            MarkKind::RoundEnds { .. } => self.held = 0,
            MarkKind::PhaseEnds => (self.phase, self.pieces) = (None, 0),
            MarkKind::Cue(_) => {}
        }
        self.sink.mark(mark);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{Action, EdgeChannel};

    /// Names of marks, and how many edges and losses there were.
    #[derive(Default)]
    struct Told {
        marks: Vec<String>,
        edges: usize,
        losses: usize,
    }

    impl CaptureSink for Told {
        fn part(&mut self, part: &Part) {
            self.edges += part.edges(EdgeChannel::Step).len();
            self.losses += part.losses.len();
        }

        fn mark(&mut self, mark: &Mark) {
            self.marks.push(match &mark.kind {
                MarkKind::CheckBegins { .. } => format!("check at {}", mark.at),
                MarkKind::PhaseBegins(phase) => phase.label.clone(),
                MarkKind::Cue(_) => "cue".into(),
                MarkKind::PhaseEnds => format!("end at {}", mark.at),
                MarkKind::RoundEnds { .. } => format!("end of round at {}", mark.at),
                MarkKind::CheckEnds { .. } => format!("end of check at {}", mark.at),
            });
        }
    }

    /// Two checks of one move each, the first of them with steps without end.
    fn endless(to: &mut dyn CaptureSink, entries: usize) {
        let mark = |at, kind| Mark { at, doubt: 0, kind };
        let phase = Phase { check: 0, ordinal: 0, label: "move".into(), action: Action::Wait };
        to.mark(&mark(0, MarkKind::CheckBegins { check: 0 }));
        to.mark(&mark(0, MarkKind::PhaseBegins(phase.clone())));
        let mut tick = 0;
        for _ in 0..entries.div_ceil(1 << 20) {
            let mut part = Part::default();
            (0..1 << 20).for_each(|_| {
                tick += 1;
                part.push_edge(EdgeChannel::Step, tick, true);
            });
            to.part(&part);
        }
        to.mark(&mark(tick, MarkKind::PhaseEnds));
        to.mark(&mark(tick, MarkKind::CheckEnds { check: 0 }));
        to.mark(&mark(tick, MarkKind::CheckBegins { check: 1 }));
        let mut part = Part::default();
        part.push_edge(EdgeChannel::Step, tick, true);
        to.part(&part);
        to.mark(&mark(tick, MarkKind::CheckEnds { check: 1 }));
    }

    #[test]
    fn a_check_without_end_comes_in_pieces() {
        let mut told = Told::default();
        let mut bounded = Bounded::in_pieces(&mut told);
        endless(&mut bounded, HELD_MAX + (1 << 20));
        assert_eq!(bounded.cut_checks(), 1);
        assert_eq!((told.edges, told.losses), (HELD_MAX + (1 << 20) + 1, 0));
        let expected = ["check at 0", "move", "end at 8388608", "end of check at 8388608", "check at 8388608"];
        assert_eq!(told.marks[..5], expected);
        assert_eq!(told.marks[5], "move, piece 2");
        assert_eq!(told.marks.len(), 10);
    }

    /// However often a check repeats its moves, only one round of it is held at once.
    #[test]
    fn each_round_is_held_by_itself() {
        let mut told = Told::default();
        let mut bounded = Bounded::whole(&mut told);
        bounded.mark(&Mark { at: 0, doubt: 0, kind: MarkKind::CheckBegins { check: 0 } });
        let mut part = Part::default();
        (1..=HELD_MAX as u64 / 2).for_each(|tick| part.push_edge(EdgeChannel::Step, tick, true));
        for _ in 0..4 {
            bounded.part(&part);
            bounded.mark(&Mark { at: HELD_MAX as u64, doubt: 0, kind: MarkKind::RoundEnds { check: 0 } });
        }
        bounded.mark(&Mark { at: HELD_MAX as u64, doubt: 0, kind: MarkKind::CheckEnds { check: 0 } });
        assert_eq!((told.edges, told.losses, told.marks.len()), (4 * (HELD_MAX / 2), 0, 6));
    }

    #[test]
    fn where_pieces_do_not_serve_the_rest_of_the_check_is_lost() {
        let mut told = Told::default();
        let mut bounded = Bounded::whole(&mut told);
        endless(&mut bounded, HELD_MAX + (5 << 20));
        assert_eq!(bounded.cut_checks(), 0);
        assert_eq!((told.edges, told.losses, told.marks.len()), (HELD_MAX + 1, 1, 6));
    }
}
