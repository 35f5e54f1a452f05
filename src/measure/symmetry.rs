//! What a buyer compares: the way out with the way back, and a nearly empty pack with a full one. Each is a ratio of two
//! like values, in which the errors of clock and encoder cancel.

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::values::{carriage_speed, cruise, interval, travel_speed};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Action, Destination, EdgeChannel};
use crate::quantity::Dimension;
use crate::stats::Estimate;

const EDGES: &[EdgeChannel] =
    &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::EncoderA, EdgeChannel::EncoderB];
/// A travel of this part of the steps from end to end is one from end to end.
const WHOLE_TRAVEL: f64 = 0.98;

pub(super) const SPEED: Measurand = Measurand {
    name: "speed asymmetry",
    dimension: Dimension::Ratio,
    about: "mean cruise speed of a check's travels to the right over that of those to the left, less 1, at each commanded speed",
    source: "common practice",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| both_ways(&speeds(check, setup)),
};

pub(super) const TIME: Measurand = Measurand {
    name: "travel time asymmetry",
    dimension: Dimension::Ratio,
    about: "mean time of a check's travels from the left end to the right over that of those back, less 1, at each commanded \
            speed; from first to last step pulse",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::Direction],
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| both_ways(&times(check, setup)),
};

pub(super) const HELD: Measurand = Measurand {
    name: "speed held",
    dimension: Dimension::Ratio,
    about: "mean cruise speed of a check's travels on the nearly empty pack over that on the full one, at each commanded speed \
            and way",
    source: "common practice",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Mean,
    reader: held,
};

/// A value of one travel.
struct Travelled {
    commanded: f64,
    rightward: bool,
    low_pack: bool,
    value: Result<Estimate, Withheld>,
}

fn speeds(check: &CheckEvidence, setup: &Setup) -> Vec<Travelled> {
    each_travel(check, setup, |phase| Some(cruise(phase)?.and_then(|cruise| carriage_speed(phase, cruise, setup))))
}

fn times(check: &CheckEvidence, setup: &Setup) -> Vec<Travelled> {
    let whole = WHOLE_TRAVEL * setup.unit.travel * setup.unit.steps_per_metre;
    each_travel(check, setup, |phase| {
        let run = phase.main_run().filter(|run| run.pulses as f64 >= whole)?;
        let to_an_end = matches!(phase.phase.action, Action::Travel { to: Destination::End(_), .. });
        to_an_end.then(|| Ok(interval((run.last - run.first) as f64, setup)))
    })
}

fn each_travel(
    check: &CheckEvidence,
    setup: &Setup,
    value: impl Fn(&PhaseEvidence) -> Option<Result<Estimate, Withheld>>,
) -> Vec<Travelled> {
    let mut low_pack = false;
    let mut travelled = Vec::new();
    for phase in &check.phases {
        if let Action::Pack { low } = phase.phase.action {
            low_pack = low;
        }
        let Some(commanded) = travel_speed(phase, setup) else { continue };
        // Without a step there is no way either, and other measurands say whose fault that is.
        let (Some(run), Some(value)) = (phase.main_run(), value(phase)) else { continue };
        travelled.push(Travelled { commanded, rightward: run.rightward, low_pack, value });
    }
    travelled
}

fn both_ways(travelled: &[Travelled]) -> Vec<Reading> {
    commanded(travelled)
        .filter_map(|speed| {
            let way = |rightward: bool| mean(travelled, |one| one.commanded == speed && one.rightward == rightward);
            let result = ratio(way(true)?, way(false)?).map(|ratio| Estimate { value: ratio.value - 1.0, ..ratio });
            Some(Reading { label: format!("at {}", shown(speed)), result })
        })
        .collect()
}

fn held(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let travelled = speeds(check, setup);
    let mut readings = Vec::new();
    for speed in commanded(&travelled) {
        for (rightward, way) in [(true, "right"), (false, "left")] {
            let with = |low_pack: bool| {
                mean(&travelled, |one| one.commanded == speed && one.rightward == rightward && one.low_pack == low_pack)
            };
            if let (Some(low), Some(full)) = (with(true), with(false)) {
                readings.push(Reading { label: format!("to the {way} at {}", shown(speed)), result: ratio(low, full) });
            }
        }
    }
    readings
}

/// The commanded speeds, each once.
fn commanded(travelled: &[Travelled]) -> impl Iterator<Item = f64> {
    let mut speeds: Vec<f64> = travelled.iter().map(|one| one.commanded).filter(|speed| speed.is_finite()).collect();
    speeds.sort_by(f64::total_cmp);
    speeds.dedup();
    speeds.into_iter()
}

/// Mean of some; `None` where there are none.
fn mean(travelled: &[Travelled], wanted: impl Fn(&Travelled) -> bool) -> Option<Result<Estimate, Withheld>> {
    let values: Result<Vec<&Estimate>, Withheld> =
        travelled.iter().filter(|one| wanted(one)).map(|one| one.value.as_ref().map_err(Clone::clone)).collect();
    let values = match values {
        Ok(values) if values.is_empty() => return None,
        Ok(values) => values,
        Err(withheld) => return Some(Err(withheld)),
    };
    let weight = 1.0 / values.len() as f64;
    let mean = values.iter().map(|value| value.value * weight).sum();
    let parts: Vec<(&Estimate, f64)> = values.into_iter().map(|value| (value, weight)).collect();
    Some(Ok(Estimate::combined(mean, &parts)))
}

fn ratio(over: Result<Estimate, Withheld>, under: Result<Estimate, Withheld>) -> Result<Estimate, Withheld> {
    let (over, under) = (over?, under?);
    if under.value <= 0.0 {
        return Err(super::values::unit("the carriage went the wrong way"));
    }
    let ratio = over.value / under.value;
    Ok(Estimate::combined(ratio, &[(&over, 1.0 / under.value), (&under, -ratio / under.value)]))
}

fn shown(speed: f64) -> String {
    format!("{} mm/s", (speed * 1e6).round() / 1e3)
}
