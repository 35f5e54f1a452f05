//! The pack: at rest, under load, at its lowest, and after.
//!
//! Every level is a mean of samples or the end of a line through them, taken at the very moment that a definition names:
//! a level read from the last sample before a switching instant is late by up to one sample, which a resistance shows
//! (0.6 % of a pack with a 2 s time constant at 20 samples a second).

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::values::{RECTANGULAR, bench, clock, cruise, reading, seconds, ticks, travel_speed, whole};
use super::{Measurand, Reading, Setup, Withheld};
use crate::capture::{Action, Calibration, Cue, OutputChannel, Sample, SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::Estimate;
use crate::stats::summary::{self, Line};

const VOLTAGE: &[SampleChannel] = &[SampleChannel::PackVoltage];
const BOTH: &[SampleChannel] = &[SampleChannel::PackVoltage, SampleChannel::PackCurrent];

const fn of_the_pack(
    name: &'static str,
    dimension: Dimension,
    about: &'static str,
    source: &'static str,
    samples: &'static [SampleChannel],
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand { name, dimension, about, source, edges: &[], samples, reader }
}

pub(super) const REST_VOLTAGE: Measurand = of_the_pack(
    "pack rest voltage",
    Dimension::Voltage,
    "mean voltage over up to a second before the first step or load of the check",
    "common practice",
    VOLTAGE,
    |check, setup| rest_level(check, SampleChannel::PackVoltage, setup),
);

pub(super) const MINIMUM_VOLTAGE: Measurand = of_the_pack(
    "pack minimum voltage",
    Dimension::Voltage,
    "lowest mean of five samples in a row in the check",
    "common practice",
    VOLTAGE,
    minimum_voltage,
);

pub(super) const SAG: Measurand = of_the_pack(
    "pack sag",
    Dimension::Voltage,
    "rest voltage before a move less the lowest mean of five samples in a row during it",
    "common practice",
    VOLTAGE,
    sag,
);

pub(super) const SERIES_RESISTANCE: Measurand = of_the_pack(
    "pack series resistance",
    Dimension::Resistance,
    "fall of the voltage from just before the dummy load is switched on to 1 s after it, over the rise of the current",
    "IEC 61960-3, direct-current method with two levels; the lower level is the unit at rest",
    BOTH,
    series_resistance,
);

pub(super) const RECOVERY_TIME: Measurand = of_the_pack(
    "pack recovery time",
    Dimension::Time,
    "time after the dummy load goes off until 63 % of the slow part of the sag has recovered",
    "common practice; time constant of an exponential through three equal means",
    VOLTAGE,
    recovery_time,
);

pub(super) const IDLE_CURRENT: Measurand = of_the_pack(
    "idle current",
    Dimension::Current,
    "mean current over up to a second before the first step or load of the check",
    "common practice",
    &[SampleChannel::PackCurrent],
    |check, setup| rest_level(check, SampleChannel::PackCurrent, setup),
);

pub(super) const CRUISE_CURRENT: Measurand = Measurand {
    edges: &[crate::capture::EdgeChannel::Step],
    ..of_the_pack(
        "cruise current",
        Dimension::Current,
        "mean current while the step rate of a travel is steady",
        "common practice",
        &[SampleChannel::PackCurrent],
        cruise_current,
    )
};

/// Longest stretch over which a rest is averaged, s.
const REST_S: f64 = 1.0;
/// A level needs so many samples.
const SAMPLES_MIN: usize = 5;
/// Samples of the short mean whose lowest counts.
const SHORT_MEAN: usize = 5;
/// When the second level of the resistance is read after the load went on, s (IEC 61960-3).
const SECOND_LEVEL_S: f64 = 1.0;
/// Stretch of samples through which a level is led to its moment, s.
const LEVEL_S: f64 = 0.25;
/// The shortest rest in which a recovery is seen, s.
const RECOVERY_MIN_S: f64 = 1.0;

fn calibration(channel: SampleChannel, setup: &Setup) -> Result<Calibration, Withheld> {
    setup.jig.calibrations[channel.index()].ok_or_else(|| bench(format!("`{}` has no calibration", channel.name())))
}

fn codes(samples: &[Sample]) -> Vec<f64> {
    samples.iter().map(|sample| f64::from(sample.code)).collect()
}

/// A mean level with its budget.
fn level(samples: &[Sample], calibration: &Calibration) -> Estimate {
    let codes = codes(samples);
    let count = codes.len() as f64;
    let mean = summary::mean(&codes).unwrap_or(0.0);
    let scatter = summary::standard_deviation(&codes).unwrap_or(0.0);
    Estimate::of(calibration.gain * mean + calibration.offset)
        .with("resolution", calibration.gain * RECTANGULAR)
        .with("calibration, gain", calibration.gain * mean * calibration.gain_uncertainty)
        .with("calibration, offset", calibration.offset_uncertainty)
        .with_freedom("repeat", calibration.gain * scatter / count.sqrt(), (count - 1.0).max(1.0))
}

/// The rest before the check's first activity: at most a second, and nothing before a switching of supply or pack.
fn rest(check: &CheckEvidence, setup: &Setup) -> (Tick, Tick) {
    let to = check.first_activity();
    let switched = check
        .driven
        .iter()
        .filter(|driven| driven.at < to && matches!(driven.output, OutputChannel::UnitSupply | OutputChannel::LowPack))
        .map(|driven| driven.at);
    let started = check.phases.iter().flat_map(|phase| &phase.cues);
    let started = started.filter(|timed| timed.cue == Cue::StartedUp && timed.at < to).map(|timed| timed.at);
    let from = switched.chain(started).max().unwrap_or(check.began).max(to.saturating_sub(ticks(REST_S, setup)));
    (from, to)
}

/// A level at rest. A plan that begins at once leaves no rest to measure, which gives no reading.
fn rest_level(check: &CheckEvidence, channel: SampleChannel, setup: &Setup) -> Vec<Reading> {
    let (from, to) = rest(check, setup);
    let samples = check.samples(channel, from, to);
    if samples.len() >= SAMPLES_MIN {
        return vec![whole(calibration(channel, setup).map(|calibration| level(samples, &calibration)))];
    }
    let long_enough = seconds(to.saturating_sub(from) as f64, setup) >= 0.5 * REST_S;
    let missing = || whole(Err(bench(format!("too few samples of `{}` came at rest", channel.name()))));
    if long_enough { vec![missing()] } else { Vec::new() }
}

/// The lowest short mean, in codes.
struct Lowest {
    mean: f64,
    /// Standard uncertainty of what noise has pulled it down by, that being corrected.
    bias_uncertainty: f64,
    /// Standard uncertainty of a short mean from noise.
    noise: f64,
}

/// The lowest mean of five samples in a row. The lowest of many noisy means lies below the true lowest: by nothing where
/// the voltage dips once, by √(2 ln k) standard deviations where k means compete. Half of that is corrected.
fn lowest(samples: &[Sample]) -> Option<Lowest> {
    if samples.len() < 2 * SHORT_MEAN {
        return None;
    }
    let mut sum: i64 = samples[..SHORT_MEAN].iter().map(|sample| i64::from(sample.code)).sum();
    let mut least = sum;
    for (left, come) in samples.iter().zip(&samples[SHORT_MEAN..]) {
        sum += i64::from(come.code) - i64::from(left.code);
        least = least.min(sum);
    }
    let noise = noise(samples) / (SHORT_MEAN as f64).sqrt();
    let mean = least as f64 / SHORT_MEAN as f64;
    let near = samples
        .chunks_exact(SHORT_MEAN)
        .map(|chunk| chunk.iter().map(|sample| f64::from(sample.code)).sum::<f64>() / SHORT_MEAN as f64)
        .filter(|other| *other < mean + 4.0 * noise)
        .count();
    let bias = noise * (2.0 * (near.max(1) as f64).ln()).sqrt();
    Some(Lowest { mean: mean + 0.5 * bias, bias_uncertainty: bias * RECTANGULAR, noise })
}

/// Standard deviation of a sample's noise, from the changes between neighbours; the few large ones are the load's.
fn noise(samples: &[Sample]) -> f64 {
    let changes = samples.windows(2).map(|pair| pair[1].code.abs_diff(pair[0].code));
    let mut sorted: Vec<u32> = changes.collect();
    let middle = sorted.len() / 2;
    let typical = *sorted.select_nth_unstable(middle).1;
    let ordinary = sorted.iter().filter(|change| **change <= 4 * (typical + 1));
    let (count, squares) =
        ordinary.fold((0.0, 0.0), |(count, squares), change| (count + 1.0, squares + f64::from(*change).powi(2)));
    (squares / f64::max(count, 1.0) / 2.0).sqrt()
}

fn minimum_voltage(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let result = calibration(SampleChannel::PackVoltage, setup).and_then(|calibration| {
        let samples = check.samples(SampleChannel::PackVoltage, check.began, check.ended);
        let lowest = lowest(samples).ok_or_else(|| bench("too few samples of `pack voltage` came in the check"))?;
        let gain = calibration.gain;
        Ok(Estimate::of(gain * lowest.mean + calibration.offset)
            .with("resolution", gain * RECTANGULAR)
            .with("calibration, gain", gain * lowest.mean * calibration.gain_uncertainty)
            .with("calibration, offset", calibration.offset_uncertainty)
            .with("repeat", gain * lowest.noise)
            .with("lowest of many", gain * lowest.bias_uncertainty))
    });
    vec![whole(result)]
}

fn sag(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let mut rested_since = check.began;
    let mut readings = Vec::new();
    for phase in &check.phases {
        let moves = matches!(
            phase.phase.action,
            Action::Travel { .. } | Action::Start { .. } | Action::Stop { .. } | Action::Reverse { .. }
        );
        if let Some(first) = phase.runs.first().filter(|_| moves) {
            let own = (rested_since.max(first.first.saturating_sub(ticks(0.5 * REST_S, setup))), first.first);
            readings.extend(sag_in(check, phase, own, setup).map(|result| reading(phase, result)));
        }
        if let Some(last) = phase.runs.last() {
            rested_since = last.last + ticks(0.05, setup);
        }
    }
    readings
}

/// Rest before less lowest during. A move that follows on another at once has no rest of its own; the check's is taken.
fn sag_in(
    check: &CheckEvidence,
    phase: &PhaseEvidence,
    own: (Tick, Tick),
    setup: &Setup,
) -> Option<Result<Estimate, Withheld>> {
    let channel = SampleChannel::PackVoltage;
    let calibration = match calibration(channel, setup) {
        Ok(calibration) => calibration,
        Err(withheld) => return Some(Err(withheld)),
    };
    let mut before = if own.0 < own.1 { check.samples(channel, own.0, own.1) } else { &[] };
    if before.len() < SAMPLES_MIN {
        let (from, to) = rest(check, setup);
        before = check.samples(channel, from, to);
    }
    if before.len() < SAMPLES_MIN {
        return None;
    }
    let lowest = lowest(check.samples(channel, phase.began, phase.ended))?;
    let rest = codes(before);
    let (count, gain) = (rest.len() as f64, calibration.gain);
    let fall = gain * (summary::mean(&rest)? - lowest.mean);
    let scatter = summary::standard_deviation(&rest)?;
    Some(Ok(Estimate::of(fall)
        .with("resolution", std::f64::consts::SQRT_2 * RECTANGULAR * gain)
        .with("calibration, gain", fall * calibration.gain_uncertainty)
        .with_freedom("repeat, rest", gain * scatter / count.sqrt(), count - 1.0)
        .with("repeat, lowest", gain * lowest.noise)
        .with("lowest of many", gain * lowest.bias_uncertainty)))
}

/// When the dummy load went on, and when it went off again or the check ended.
fn loads(check: &CheckEvidence) -> Vec<(Tick, Tick)> {
    let switched: Vec<_> = check.driven.iter().filter(|driven| driven.output == OutputChannel::DummyLoad).collect();
    let off =
        |index: usize| switched[index + 1..].iter().find(|driven| !driven.on).map_or(check.ended, |driven| driven.at);
    switched.iter().enumerate().filter(|(_, driven)| driven.on).map(|(index, driven)| (driven.at, off(index))).collect()
}

fn label_at(check: &CheckEvidence, at: Tick) -> String {
    let phase = check.phases.iter().rfind(|phase| phase.began <= at);
    phase.map_or_else(|| super::values::WHOLE_CHECK.into(), |phase| phase.phase.label.clone())
}

/// A level in codes at a moment, by a line through the samples of a stretch about it.
fn level_at(
    check: &CheckEvidence,
    channel: SampleChannel,
    from: Tick,
    to: Tick,
    at: Tick,
    setup: &Setup,
) -> Option<(f64, f64, f64)> {
    let time = |tick: Tick| seconds(tick as f64 - at as f64, setup);
    let points: Vec<(f64, f64)> =
        check.samples(channel, from, to).iter().map(|sample| (time(sample.at), f64::from(sample.code))).collect();
    let line = Line::fit(&points).filter(|_| points.len() >= SAMPLES_MIN)?;
    let (height, uncertainty) = line.at(0.0);
    Some((height, uncertainty, line.degrees_of_freedom))
}

fn series_resistance(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    loads(check)
        .into_iter()
        .map(|(on, off)| Reading { label: label_at(check, on), result: resistance(check, on, off, setup) })
        .collect()
}

fn resistance(check: &CheckEvidence, on: Tick, off: Tick, setup: &Setup) -> Result<Estimate, Withheld> {
    let (volt, ampere) =
        (calibration(SampleChannel::PackVoltage, setup)?, calibration(SampleChannel::PackCurrent, setup)?);
    let held = seconds(off.saturating_sub(on) as f64, setup);
    if held < 0.9 * SECOND_LEVEL_S {
        return Err(bench(format!("the load was on for {held:.2} s only; the second level is read after 1 s")));
    }
    let (stretch, second) = (ticks(LEVEL_S, setup), on + ticks(SECOND_LEVEL_S, setup));
    // A sample at the very tick of switching belongs to neither side.
    let before = (on.saturating_sub(2 * stretch), on - 1);
    let about = (second - stretch, (second + stretch).min(off - 1));
    let few = || bench("too few samples came about the load step");
    let at = |channel, (from, to): (Tick, Tick), at| level_at(check, channel, from, to, at, setup).ok_or_else(few);
    let (u1, u1_doubt, freedom) = at(SampleChannel::PackVoltage, before, on)?;
    let (u2, u2_doubt, _) = at(SampleChannel::PackVoltage, about, second)?;
    let (i1, i1_doubt, _) = at(SampleChannel::PackCurrent, before, on)?;
    let (i2, i2_doubt, _) = at(SampleChannel::PackCurrent, about, second)?;
    let (fall, rise) = (volt.gain * (u1 - u2), ampere.gain * (i2 - i1));
    if rise <= 0.0 {
        return Err(bench("the current did not rise when the load went on; check the load's wiring"));
    }
    let value = fall / rise;
    let two = std::f64::consts::SQRT_2;
    Ok(Estimate::of(value)
        .with("calibration, voltage", value * volt.gain_uncertainty)
        .with("calibration, current", value * ampere.gain_uncertainty)
        .with("resolution, voltage", two * RECTANGULAR * volt.gain / rise)
        .with("resolution, current", value * two * RECTANGULAR * ampere.gain / rise)
        .with_freedom("repeat, voltage", volt.gain * u1_doubt.hypot(u2_doubt) / rise, freedom)
        .with_freedom("repeat, current", value * ampere.gain * i1_doubt.hypot(i2_doubt) / rise, freedom))
}

fn recovery_time(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    loads(check)
        .into_iter()
        .filter(|(_, off)| *off < check.ended)
        .map(|(_, off)| Reading { label: label_at(check, off), result: recovery(check, off, setup) })
        .collect()
}

/// The time constant of the slow part from three equal means: for an exponential the last difference is the first one
/// times e^(−third/τ), whatever the final level is.
fn recovery(check: &CheckEvidence, off: Tick, setup: &Setup) -> Result<Estimate, Withheld> {
    let next_step = check.phases.iter().flat_map(|phase| &phase.runs).map(|run| run.first).find(|first| *first > off);
    let next_switch = check.driven.iter().map(|driven| driven.at).find(|at| *at > off);
    let until = next_step.into_iter().chain(next_switch).min().unwrap_or(check.ended);
    let rest = check.samples(SampleChannel::PackVoltage, off + 1, until);
    // The first sample may have been averaged over the switching.
    let rest = rest.get(1..).unwrap_or(&[]);
    let third = rest.len() / 3;
    if seconds((until - off) as f64, setup) < RECOVERY_MIN_S || third < SAMPLES_MIN {
        return Err(bench("the pack did not rest for a second after the load went off"));
    }
    let means: Vec<f64> =
        rest.chunks_exact(third).take(3).map(|part| summary::mean(&codes(part)).unwrap_or(0.0)).collect();
    let length = seconds((rest[third].at - rest[0].at) as f64, setup);
    let (early, late) = (means[1] - means[0], means[2] - means[1]);
    let doubt = noise(rest).hypot(RECTANGULAR) / (third as f64).sqrt();
    if early < 6.0 * doubt {
        // Nothing slow is left to be seen: it has recovered within the first of the three parts.
        return Ok(Estimate::of(0.0).with("noise", length / 3.0));
    }
    let ratio = late / early;
    if ratio >= 0.95 {
        return Err(bench("the pack was still recovering when its rest ended; let it rest for longer"));
    }
    let floor = (2.0 * doubt / early).min(0.5);
    let decay = -ratio.max(floor).ln();
    let time = length / decay;
    // d(late/early): the middle mean enters twice.
    let ratio_doubt = doubt / early * (1.0 + (1.0 + ratio).powi(2) + ratio * ratio).sqrt();
    Ok(Estimate::of(time).with("noise", time * ratio_doubt / (ratio.max(floor) * decay)).and(clock(time, setup)))
}

fn cruise_current(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let channel = SampleChannel::PackCurrent;
    let travels = check.phases.iter().filter(|phase| travel_speed(phase, setup).is_some());
    travels
        .filter_map(|phase| {
            let result = cruise(phase)?.and_then(|cruise| {
                let samples = check.samples(channel, cruise.began, cruise.ended);
                if samples.len() < SAMPLES_MIN {
                    return Err(bench("too few samples of `pack current` came in the cruise"));
                }
                Ok(level(samples, &calibration(channel, setup)?))
            });
            Some(reading(phase, result))
        })
        .collect()
}
