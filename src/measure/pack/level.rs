//! Levels: the voltage at rest, and the current off, idle, holding and cruising.

use super::super::converter::{Converter, SAMPLES_MIN, last_of};
use super::super::evidence::CheckEvidence;
use super::super::values::{bench, each_cruise, reading, seconds, ticks, whole};
use super::super::{Measurand, Reading, Setup};
use super::{CURRENT, REST_S, VOLTAGE, label_at, loads, next_change, of_the_pack, rest, with_steps};
use crate::capture::{OutputChannel, SampleChannel, Tick};
use crate::quantity::Dimension;

pub(in super::super) const REST_VOLTAGE: Measurand = of_the_pack(
    "pack rest voltage",
    Dimension::Voltage,
    "mean voltage over up to a second before the first step or load of the check",
    "common practice",
    VOLTAGE,
    |check, setup| rest_level(check, SampleChannel::PackVoltage, setup),
);

pub(in super::super) const OFF_CURRENT: Measurand = of_the_pack(
    "off current",
    Dimension::Current,
    "mean current over up to a second while the unit's supply is off: what leaks",
    "common practice",
    CURRENT,
    off_current,
);

pub(in super::super) const IDLE_CURRENT: Measurand = of_the_pack(
    "idle current",
    Dimension::Current,
    "mean current over up to a second before the first step or load of the check",
    "common practice",
    CURRENT,
    |check, setup| rest_level(check, SampleChannel::PackCurrent, setup),
);

pub(in super::super) const HOLDING_CURRENT: Measurand = with_steps(of_the_pack(
    "holding current",
    Dimension::Current,
    "mean current over up to a second at rest after a move, from half a second after its last step",
    "common practice",
    CURRENT,
    holding_current,
));

pub(in super::super) const CRUISE_CURRENT: Measurand = with_steps(of_the_pack(
    "cruise current",
    Dimension::Current,
    "mean current while the step rate of a travel is steady",
    "common practice",
    CURRENT,
    cruise_current,
));

/// So long after a switching or a last step a current has settled, s.
const SETTLED_S: f64 = 0.5;
/// A stretch shorter than this tells no level, s.
const STRETCH_MIN_S: f64 = 0.2;

/// A level at rest. A plan that begins at once leaves no rest to measure, which gives no reading.
fn rest_level(check: &CheckEvidence, channel: SampleChannel, setup: &Setup) -> Vec<Reading> {
    let (from, to) = rest(check, setup);
    let samples = check.samples(channel, from, to);
    if samples.len() >= SAMPLES_MIN {
        return vec![whole(Converter::of(channel, setup).and_then(|converter| converter.level(samples)))];
    }
    let long_enough = seconds(to.saturating_sub(from) as f64, setup) >= 0.5 * REST_S;
    let missing = || whole(Err(bench(format!("too few samples of `{}` came at rest", channel.name()))));
    if long_enough { vec![missing()] } else { Vec::new() }
}

/// One reading for each stretch without supply that is long enough. A check whose first switching of the supply puts it
/// on began without it.
fn off_current(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let supply = || check.driven.iter().filter(|driven| driven.output == OutputChannel::UnitSupply);
    let mut stretches: Vec<(Tick, Tick)> = Vec::new();
    if let Some(first) = supply().next().filter(|driven| driven.on) {
        stretches.push((check.began, first.at));
    }
    for off in supply().filter(|driven| !driven.on) {
        let on = supply().map(|driven| driven.at).find(|at| *at > off.at);
        stretches.push((off.at + ticks(SETTLED_S, setup), on.unwrap_or(check.ended)));
    }
    let loaded = loads(check);
    stretches.retain(|(from, to)| {
        let lasts = seconds(to.saturating_sub(*from) as f64, setup);
        lasts >= STRETCH_MIN_S && loaded.iter().all(|(on, off)| off < from || on > to)
    });
    let readings = stretches.into_iter().map(|(from, to)| {
        // A sample at the very tick of switching on may have seen it already.
        let (from, to) = last_of(from, to - 1, REST_S, setup);
        Reading { label: label_at(check, to), result: level(check, (from, to), setup) }
    });
    readings.collect()
}

fn holding_current(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let moved = check.phases.iter().filter_map(|phase| Some((phase, phase.runs.last()?.last)));
    moved
        .filter_map(|(phase, last)| {
            let from = last + ticks(SETTLED_S, setup);
            let to = next_change(check, last).saturating_sub(1).min(from + ticks(REST_S, setup));
            let long_enough = seconds(to.saturating_sub(from) as f64, setup) >= STRETCH_MIN_S;
            long_enough.then(|| reading(phase, level(check, (from, to), setup)))
        })
        .collect()
}

fn cruise_current(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| {
        let channel = SampleChannel::PackCurrent;
        Converter::of(channel, setup)?.mean(check.samples(channel, cruise.began, cruise.ended))
    })
}

fn level(
    check: &CheckEvidence,
    (from, to): (Tick, Tick),
    setup: &Setup,
) -> Result<crate::stats::Estimate, super::super::Withheld> {
    let channel = SampleChannel::PackCurrent;
    Converter::of(channel, setup)?.level(check.samples(channel, from, to))
}
