//! A plan as the script of a capture that has no marks: the motions that were found are, in order, the moves of the plan
//! that move the carriage.
//!
//! A home may find the carriage at its end already. It then makes no motion, and is passed over where the next motion goes
//! the other way; or it backs off a little and comes again. Nothing else may differ; a motion too many, too few, or the other way round and the capture is not one of
//! this plan, so that it proves nothing. Moves without motion have no place in such a capture, but for a wait.

use crate::capture::{Action, Destination, Motion, Namer, Phase, Side};
use crate::plan::Plan;

/// Names the motions of a capture after the moves of a plan.
#[derive(Debug)]
pub struct Script<'a> {
    plan: &'a Plan,
    /// The move that comes next: check and ordinal.
    next: (usize, usize),
    /// Why the capture is none of this plan.
    objections: Vec<String>,
    strangers: usize,
    /// A home that backs off makes fewer steps than this.
    back_off_steps: u64,
}

/// A home backs off by less than this share of the travel.
const BACK_OFF: f64 = 0.1;

impl<'a> Script<'a> {
    /// From the plan's beginning, for a unit with so many steps from end to end.
    pub fn new(plan: &'a Plan, travel_steps: f64) -> Self {
        let back_off_steps = (BACK_OFF * travel_steps) as u64;
        Self { plan, next: (0, 0), objections: Vec::new(), strangers: 0, back_off_steps }
    }

    /// Why the capture is none of this plan; nothing where it is.
    pub fn objections(mut self) -> Vec<String> {
        if self.strangers > 0 {
            self.objections.push(format!("the capture holds {} motions more than the plan has", self.strangers));
        }
        // A home at the very end may have found the carriage there.
        let missing =
            self.moves().find(|(_, action)| action.moves_the_carriage() && !matches!(action, Action::Home { .. }));
        if let Some(((check, ordinal), _)) = missing {
            let label = &self.plan.checks[check].moves[ordinal].label;
            let name = &self.plan.checks[check].name;
            self.objections.push(format!("the capture ends before `{label}` of the check `{name}`"));
        }
        self.objections
    }

    /// The moves that are not done yet, with their places.
    fn moves(&self) -> impl Iterator<Item = ((usize, usize), &'a Action)> {
        let (next, plan) = (self.next, self.plan);
        let all = plan.checks.iter().enumerate().flat_map(|(check, planned)| {
            planned.moves.iter().enumerate().map(move |(ordinal, planned)| ((check, ordinal), &planned.action))
        });
        all.skip_while(move |(place, _)| *place < next)
    }

    /// The move that a motion is.
    fn planned(&self, motion: &Motion) -> Option<((usize, usize), &'a Action)> {
        self.moves().find(|(_, action)| match action {
            Action::Home { side } => self.is_home(motion, *side),
            other => other.moves_the_carriage(),
        })
    }

    fn is_home(&self, motion: &Motion, side: Side) -> bool {
        match motion.towards {
            Some(towards) if motion.turned => {
                towards != side && motion.contact == Some(side) && motion.steps < 2 * self.back_off_steps
            }
            Some(towards) => towards == side,
            None => true,
        }
    }

    fn phase_at(&self, (check, ordinal): (usize, usize)) -> Phase {
        let planned = &self.plan.checks[check].moves[ordinal];
        Phase { check, ordinal, label: planned.label.clone(), action: planned.action.clone() }
    }
}

impl Namer for Script<'_> {
    fn phase(&mut self, motion: &Motion, _: usize) -> Option<Phase> {
        let Some((place, action)) = self.planned(motion) else {
            self.strangers += 1;
            return None;
        };
        let phase = self.phase_at(place);
        let is_other_way = match (goes_to(action), motion.towards) {
            _ if matches!(action, Action::Home { .. }) => false,
            (Some(wanted), Some(went)) => wanted != went || motion.turned != matches!(action, Action::Reverse { .. }),
            _ => false,
        };
        if self.objections.is_empty() && is_other_way {
            let went = motion.towards.map_or("", Side::name);
            let turned = if motion.turned { " and back" } else { "" };
            self.objections.push(format!(
                "motion {} of the capture goes to the {went}{turned}, and the plan's next move is `{}`",
                motion.number, phase.label
            ));
        }
        self.next = (place.0, place.1 + 1);
        Some(phase)
    }

    fn rest(&mut self) -> Option<Phase> {
        let check = self.next.0;
        let (place, _) = self
            .moves()
            .take_while(|(place, action)| place.0 == check && !action.moves_the_carriage())
            .find(|(_, action)| **action == Action::Wait)?;
        self.next = (place.0, place.1 + 1);
        Some(self.phase_at(place))
    }

    fn idle_check(&self, _: usize) -> Option<usize> {
        None
    }

    fn turns(&self, towards: Option<Side>) -> bool {
        // The first move that may be meant: a home that backs off, or what comes after one that did nothing.
        let meant = self.moves().find(|(_, action)| match action {
            Action::Home { side } => towards == Some(*side),
            other => other.moves_the_carriage(),
        });
        let backs_off = self
            .moves()
            .find(|(_, action)| action.moves_the_carriage())
            .is_some_and(|(_, action)| matches!(action, Action::Home { side } if towards == Some(side.opposite())));
        backs_off || matches!(meant, Some((_, Action::Reverse { .. })))
    }
}

/// The side that a move sets out to, where it says so.
fn goes_to(action: &Action) -> Option<Side> {
    match action {
        Action::Home { side } | Action::Travel { to: Destination::End(side), .. } => Some(*side),
        Action::Stop { towards, .. } | Action::Start { towards, .. } | Action::Crawl { towards } => Some(*towards),
        Action::Reverse { first, .. } => Some(*first),
        Action::Travel { to: Destination::By(distance), .. } => {
            Some(if *distance > 0.0 { Side::Right } else { Side::Left })
        }
        _ => None,
    }
}
