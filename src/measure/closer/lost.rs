//! Where the carriage lost its way against the steps: which step, where along the travel, how far, and by what.
//!
//! Every half turn of the motor's field the steps of a run are compared with the carriage. A scale that is a little off
//! makes the difference drift evenly, and ripple swings it by less than half a turn; a loss is a difference that leaves
//! its level and settles on another. What it lost tells the cause: whole turns of the field are the motor's, whole
//! teeth the belt's (see `balance`). How often the carriage went against the steps meanwhile tells a rotor that was
//! thrown back from a belt that rode on.
//!
//! Limits: a loss of more than ten turns at once is put down to the motor; losses nearer together than four turns are
//! one.

use super::{Listed, Place, Scale, View};
use crate::capture::Tick;
use crate::measure::balance::scale_drift;
use crate::measure::evidence::{RunEvidence, TakeUp};
use crate::measure::pulses::Run;

/// A difference that leaves its level by this part of a turn of the field begins a loss.
const LEAVES: f64 = 0.5;
/// It has settled when it varies by less than this part of a turn over [`SETTLED`] looks.
const SETTLES: f64 = 0.25;
/// Looks that it has to stay settled for: four turns of the field.
const SETTLED: usize = 8;
/// How quickly the level follows what is not a loss: runout of a worn pulley, slow elastic give.
const FOLLOWS: f64 = 0.2;

/// How near to a whole number of turns or teeth a loss has to be, as a part of a turn of the field.
const WHOLE_WITHIN: f64 = 0.45;
/// From so many turns on the nearest whole number of turns is taken.
const MANY_TURNS: f64 = 10.0;
/// More encoder edges backwards than these are no trembling.
const THROWN_BACK: usize = 3;

/// A stretch in which the carriage lost its way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LostWay {
    /// Where and when it began.
    pub place: Place,
    /// How long it took, s.
    pub lasted_s: f64,
    /// Steps that the carriage did not follow; negative where it went further than the steps.
    pub steps: f64,
    /// By what.
    pub cause: WayCause,
    /// Encoder edges against the direction of the steps meanwhile.
    pub edges_back: usize,
    /// Whether it had settled before the run was over.
    pub settled: bool,
}

/// What lost the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WayCause {
    /// The motor, by so many turns of its field; four full steps each.
    Motor { turns: i32 },
    /// The belt, by so many teeth.
    Belt { teeth: i32 },
    /// Neither: it is no whole number of either.
    Neither,
}

/// A look at steps and carriage.
#[derive(Debug, Clone, Copy)]
struct Look {
    /// Number of the step in its run.
    step: usize,
    at: Tick,
    /// Steps ahead of the carriage, the drift of the scale taken out.
    ahead: f64,
}

/// Finds them in all runs of a phase.
pub(super) fn find(view: &View<'_>, runs: &[Run], evidence: &[RunEvidence], lost: &mut Listed<LostWay>) {
    if !view.sees_carriage() || (view.section.direction_before.is_none() && view.section.direction.is_empty()) {
        return;
    }
    let drift = scale_drift(view.section, runs, view.scale);
    for (run, evidence) in runs.iter().zip(evidence) {
        // What goes into slack after a turn is not lost.
        let slack = if let Some(TakeUp::Followed(steps)) = evidence.take_up { steps.max(0.0) } else { 0.0 };
        let looks = looks(view, run, drift);
        let first = looks.partition_point(|look| (look.step as f64) < slack + view.scale.field_turn);
        in_a_run(view, run, &looks[first..], lost);
    }
}

fn looks(view: &View<'_>, run: &Run, drift: f64) -> Vec<Look> {
    let pulses = &view.section.pulses[run.pulses.clone()];
    let every = (0.5 * view.scale.field_turn).max(1.0) as usize;
    let sense = if run.rightward { 1.0 } else { -1.0 };
    let path = &view.section.path;
    let before = path.position_at(run.first.saturating_sub(1));
    let look = |step: usize| {
        let at = pulses[step - 1].tick();
        let moved = sense * (path.position_at(at) - before) * view.scale.steps_per_edge;
        Look { step, at, ahead: step as f64 * (1.0 - drift) - moved }
    };
    (1..=pulses.len() / every).map(|number| look(number * every)).collect()
}

fn in_a_run(view: &View<'_>, run: &Run, looks: &[Look], lost: &mut Listed<LostWay>) {
    let turn = view.scale.field_turn;
    let Some(first) = looks.first() else { return };
    let mut level = first.ahead;
    let mut index = 0;
    while index < looks.len() {
        let away = looks[index].ahead - level;
        if away.abs() < LEAVES * turn {
            level += FOLLOWS * away;
            index += 1;
            continue;
        }
        let settles = settles_from(looks, index, SETTLES * turn);
        let until = settles.unwrap_or(looks.len() - 1);
        let end = looks[until].ahead;
        if let Some(found) = classified(view, run, (looks[index.saturating_sub(1)], looks[until]), end - level) {
            lost.add(LostWay { settled: settles.is_some(), ..found });
        }
        level = end;
        index = until + 1;
    }
}

/// The first look from `from` on after which the difference stays where it is.
fn settles_from(looks: &[Look], from: usize, within: f64) -> Option<usize> {
    (from..looks.len().saturating_sub(SETTLED)).find(|begin| {
        let stretch = looks[*begin..begin + SETTLED].iter().map(|look| look.ahead);
        stretch.clone().fold(f64::MIN, f64::max) - stretch.fold(f64::MAX, f64::min) < within
    })
}

/// A loss of `steps` between two looks; nothing where it is no more than slack and ripple.
fn classified(view: &View<'_>, run: &Run, (began, ended): (Look, Look), steps: f64) -> Option<LostWay> {
    let edges_back = edges_back(view, run, began.at, ended.at);
    (steps.abs() > LEAVES * view.scale.field_turn).then(|| LostWay {
        place: view.place(began.at, began.step, run.rightward),
        lasted_s: view.seconds((ended.at - began.at) as f64),
        steps,
        cause: cause(steps, edges_back, view.scale),
        edges_back,
        settled: true,
    })
}

/// What lost so many steps. In motion friction and a tooth that still rides move the carriage by a part of a turn more.
fn cause(steps: f64, edges_back: usize, scale: &Scale) -> WayCause {
    let whole = |unit: f64| ((steps / unit).round(), (steps - (steps / unit).round() * unit).abs());
    let ((turns, beside_turns), (teeth, beside_teeth)) = (whole(scale.field_turn), whole(scale.steps_per_tooth));
    let (motor, belt) = (WayCause::Motor { turns: turns as i32 }, WayCause::Belt { teeth: teeth as i32 });
    if steps.abs() >= MANY_TURNS * scale.field_turn {
        return motor;
    }
    let within = WHOLE_WITHIN * scale.field_turn;
    let (may_be_motor, may_be_belt) = (beside_turns <= within, teeth != 0.0 && beside_teeth <= within);
    match (may_be_motor, may_be_belt) {
        // Five turns are two teeth: a rotor out of step throws the carriage back, a belt rides on.
        (true, true) if (beside_turns - beside_teeth).abs() <= 1.0 => {
            if edges_back > THROWN_BACK {
                motor
            } else {
                belt
            }
        }
        (true, true) => {
            if beside_turns < beside_teeth {
                motor
            } else {
                belt
            }
        }
        (true, false) => motor,
        (false, true) => belt,
        (false, false) => WayCause::Neither,
    }
}

fn edges_back(view: &View<'_>, run: &Run, from: Tick, to: Tick) -> usize {
    let path = &view.section.path;
    let first = path.ticks.partition_point(|at| *at <= from);
    let last = path.ticks.partition_point(|at| *at <= to);
    (first..last).filter(|index| path.is_rightward(*index) != run.rightward).count()
}
