//! Whether a check that may repeat its moves can do so: each round has to begin as the first one did, or its values would
//! not be of the same thing, and it has to stay on the rail from where the round before left the carriage.

use super::{Fitter, Whereabouts};
use crate::capture::Action;
use crate::plan::draft::{DraftCheck, Put};
use crate::plan::rounds::REPEAT;
use crate::plan::{Move, Switched};
use crate::written::Notes;

/// How things stand before a check.
#[derive(Debug, Clone, Copy)]
pub(super) struct Beginning {
    switched: Switched,
    carriage: Whereabouts,
    /// How many mistakes there were by then.
    mistakes: usize,
}

impl Fitter<'_> {
    pub(super) fn beginning(&self) -> Beginning {
        Beginning { switched: self.switched, carriage: self.carriage, mistakes: self.notes.count() }
    }

    /// Follows the rounds after the first. The carriage may then stand wherever any of them leaves it.
    pub(super) fn follow_rounds(&mut self, check: &DraftCheck, rounds: &Put<u32>, began: Beginning, moves: &[Move]) {
        if self.notes.count() > began.mistakes {
            return;
        }
        self.begins_alike(rounds, began, moves);
        if self.notes.count() > began.mistakes {
            return;
        }
        for round in 2..=rounds.value {
            let notes = Notes::on(self.notes.source());
            let before = self.carriage;
            let mut again = Fitter { notes: &notes, ..*self };
            again.moves(&check.moves, &mut Vec::new());
            let after = again.carriage;
            if notes.count() > 0 {
                for mut problem in notes.finish(Some(())).err().unwrap_or_default() {
                    problem.what = format!("in round {round} of the check: {}", problem.what);
                    self.notes.push(problem);
                }
                return;
            }
            self.carriage = Whereabouts { low: before.low.min(after.low), high: before.high.max(after.high) };
        }
    }

    fn begins_alike(&self, rounds: &Put<u32>, began: Beginning, moves: &[Move]) {
        let (first, again) = (began.switched, self.switched);
        let on = |on: bool| if on { "on" } else { "off" };
        let pack = |low: bool| if low { "nearly empty" } else { "full" };
        for (what, key, before, now) in [
            ("the unit's supply", "power", on(first.supply), on(again.supply)),
            ("the dummy load", "load", on(first.load), on(again.load)),
            ("the pack", "pack", pack(first.low_pack), pack(again.low_pack)),
        ] {
            if before != now {
                let what = format!(
                    "a second round would not begin as the first: {what} is {now} then, and {before} in the first"
                );
                let right = format!("put this move into a check before, or end the moves with `- {key}: {before}`");
                self.notes.add(&rounds.at, what, right);
            }
        }
        let first_way = moves.iter().map(|planned| &planned.action).find(|action| action.moves_the_carriage());
        let homes_first = matches!(first_way, None | Some(Action::Home { .. }));
        if !homes_first && self.carriage != began.carriage {
            let then = Fitter { carriage: began.carriage, ..*self };
            let what = format!(
                "a second round would begin elsewhere: the carriage stands {} then, and {} before the first",
                self.stands(),
                then.stands()
            );
            let right = format!("begin the moves with `- home: left`, or leave `{REPEAT}` out");
            self.notes.add(&rounds.at, what, right);
        }
    }
}
