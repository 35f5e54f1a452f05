//! Stopping and the controls: how far the carriage runs on, whether it creeps, how soon a press has its effect.

use super::controls::touched;
use super::evidence::{CheckEvidence, PhaseEvidence, PressEvidence};
use super::position::{self, Position};
use super::values::{bench, count, interval, length, reading, seconds, unit};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Action, Cue, EdgeChannel, SampleChannel, Side, Tick};
use crate::quantity::Dimension;
use crate::stats::Estimate;

/// A motion that goes on for longer after a press to stop was not stopped by it, s (common practice).
const STOPS_WITHIN_S: f64 = 2.0;

const ENCODER: &[EdgeChannel] = &[EdgeChannel::EncoderA, EdgeChannel::EncoderB];

pub(super) const STOP_DISTANCE: Measurand = Measurand {
    name: "stop distance",
    dimension: Dimension::Length,
    about: "way of the carriage from the command or press to stop until it rests",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::EncoderA, EdgeChannel::EncoderB],
    samples: &[],
    pooling: Pooling::Worst,
    reader: stop_distance,
};

pub(super) const CREEP_AFTER_STOP: Measurand = Measurand {
    name: "creep after stop",
    dimension: Dimension::Length,
    about: "farthest departure of the carriage while the plan waits, from where it had settled 0.1 s after its last motion",
    source: "common practice",
    edges: ENCODER,
    samples: &[],
    pooling: Pooling::Worst,
    reader: creep,
};

pub(super) const CONTROL_RESPONSE: Measurand = Measurand {
    name: "control response",
    dimension: Dimension::Time,
    about: "from pressing a control to the first step, or to the first lengthened step interval where it stops the motion",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::Direction],
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, setup| responses(check, setup, |press| Ok(press.at)),
};

pub(super) const CONTACT_RESPONSE: Measurand = Measurand {
    name: "contact response",
    dimension: Dimension::Time,
    about: "from the first contact of a pressed control to the first step, or to the first lengthened step interval where it \
            stops the motion; the jig's own way to the contact is not in it",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::Control1],
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, setup| responses(check, setup, |press| Ok(touched(press, setup)?.at)),
};

pub(super) const DEAD_CONTROLS: Measurand = Measurand {
    name: "dead controls",
    dimension: Dimension::Count,
    about: "presses of a move that had no effect: no motion begun or ended, and for a press at rest nothing said, moved or lit",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop],
    samples: &[],
    pooling: Pooling::Worst,
    reader: dead_controls,
};

/// The presses that a move makes to start and to stop.
struct Pressed<'a> {
    start: Option<&'a PressEvidence>,
    stop: Option<&'a PressEvidence>,
}

fn pressed(phase: &PhaseEvidence) -> Pressed<'_> {
    let of = |control: u8| phase.presses.iter().filter(move |press| press.control == control);
    match phase.phase.action {
        Action::Stop { press: Some(control), .. } => Pressed { start: None, stop: of(control).next() },
        Action::Start { press, stop_press, .. } => {
            let start = of(press).next();
            let begun = start.map_or(phase.began, |press| press.at);
            Pressed { start, stop: stop_press.and_then(|control| of(control).find(|press| press.at > begun)) }
        }
        _ => Pressed { start: None, stop: None },
    }
}

fn stop_distance(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    check.phases.iter().filter_map(|phase| Some(reading(phase, distance(phase, setup)?))).collect()
}

/// Way of a stop; `None` where a phase makes none.
pub(super) fn distance(phase: &PhaseEvidence, setup: &Setup) -> Option<Result<Estimate, Withheld>> {
    let (position, stepping, blur) = match phase.phase.action {
        Action::Stop { press: None, .. } => {
            let Some(timed) = phase.cue(|cue| *cue == Cue::StopCommanded) else {
                return Some(Err(phase.given_up().map_or_else(|| bench("the stop was never commanded"), unit)));
            };
            (timed.position, timed.stepping, timed.speed * timed.doubt as f64)
        }
        Action::Stop { press: Some(_), .. } | Action::Start { stop_press: Some(_), .. } => {
            let Some(press) = pressed(phase).stop else {
                return Some(Err(phase.given_up().map_or_else(|| bench("the control was never pressed"), unit)));
            };
            (press.position, press.stepping, 0.0)
        }
        _ => return None,
    };
    if !stepping {
        return Some(Err(unit("nothing moved any more when it was told to stop")));
    }
    let rest = Position::resting(phase.rail.settled.unwrap_or(phase.rail.end));
    let blur = blur / setup.jig.encoder_edges_per_metre;
    Some(Ok(position::distance(&position, &rest, setup).with("link", blur)))
}

fn creep(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let mut settled: Option<(i32, (i32, i32))> = None;
    let mut readings = Vec::new();
    for phase in &check.phases {
        if phase.phase.action == Action::Wait {
            let (from, seen) = settled.unwrap_or((phase.rail.start, phase.rail.after_settling));
            let low = seen.0.min(phase.rail.after_settling.0);
            let high = seen.1.max(phase.rail.after_settling.1);
            readings.push(reading(phase, Ok(length(f64::from((from - low).max(high - from)), setup))));
            settled = Some((from, (low, high)));
        } else if !phase.runs.is_empty() {
            settled = phase.rail.settled.map(|cell| (cell, phase.rail.after_settling));
        }
    }
    readings
}

/// One reading for each press that starts or stops a motion, counted from the moment that `began` gives.
fn responses(
    check: &CheckEvidence,
    setup: &Setup,
    began: impl Fn(&PressEvidence) -> Result<Tick, Withheld>,
) -> Vec<Reading> {
    let mut readings = Vec::new();
    for phase in &check.phases {
        let Pressed { start, stop } = pressed(phase);
        let mut add = |what: &str, result| {
            readings.push(Reading { label: format!("{}, {what}", phase.phase.label), result });
        };
        if let Some(press) = start {
            let first = press.first_pulse_after.ok_or_else(|| unit("no step followed the press"));
            let response = began(press).and_then(|began| Ok(interval(first?.saturating_sub(began) as f64, setup)));
            add("start", response);
        }
        if let Some(press) = stop {
            let knee =
                press.knee.filter(|_| stopped(phase, press, setup)).ok_or_else(|| unit("the press stopped nothing"));
            let response = began(press).and_then(|began| {
                let knee = knee?;
                let after = knee.after - (began - press.at) as f64;
                Ok(interval(after, setup).with("ramp", seconds(knee.uncertainty, setup)))
            });
            add("stop", response);
        }
    }
    readings
}

fn dead_controls(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    check
        .phases
        .iter()
        .filter_map(|phase| {
            let dead = match phase.phase.action {
                Action::Press { control } => {
                    let press = phase.presses.iter().find(|press| press.control == control)?;
                    usize::from(!had_effect(check, phase, press, setup))
                }
                Action::Start { .. } | Action::Stop { press: Some(_), .. } => {
                    let Pressed { start, stop } = pressed(phase);
                    if check.without_transcript && start.is_none() && stop.is_none() {
                        return Some(reading(
                            phase,
                            Err(bench("the capture does not tell when a control was pressed")),
                        ));
                    }
                    let started = start.is_none_or(|press| press.first_pulse_after.is_some());
                    let stopped = stop.is_none_or(|press| stopped(phase, press, setup)) || !started;
                    usize::from(!started) + usize::from(!stopped)
                }
                _ => return None,
            };
            Some(reading(phase, Ok(count(dead))))
        })
        .collect()
}

/// Whether a press ended the motion: soon, and not because an end switch did.
fn stopped(phase: &PhaseEvidence, press: &PressEvidence, setup: &Setup) -> bool {
    let Some(last) = press.last_pulse_after else {
        return press.stepping;
    };
    let soon = seconds((last - press.at) as f64, setup) <= STOPS_WITHIN_S;
    let by_switch = [Side::Left, Side::Right]
        .into_iter()
        .filter_map(|side| phase.switch(side).contact)
        .any(|contact| contact.at > press.at && contact.at < last);
    press.stepping && soon && !by_switch
}

/// Whether a press at rest did anything: the unit spoke, stepped, or changed its lights.
fn had_effect(check: &CheckEvidence, phase: &PhaseEvidence, press: &PressEvidence, setup: &Setup) -> bool {
    press.first_pulse_after.is_some()
        || phase.said.iter().any(|at| *at >= press.at)
        || (0..setup.unit.segments.min(SampleChannel::LIGHTS as u8))
            .any(|segment| super::light::changed(check, segment, press.at, phase.ended, setup))
}
