//! The load step: the pack's resistance between two levels, and how it recovers.

use super::super::converter::{Converter, SAMPLES_MIN, codes, noise};
use super::super::evidence::CheckEvidence;
use super::super::values::{RECTANGULAR, bench, clock, seconds, ticks};
use super::super::{Measurand, Reading, Setup, Withheld};
use super::{BOTH, VOLTAGE, label_at, loads, of_the_pack};
use crate::capture::{SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::Estimate;
use crate::stats::summary::{self, Line};

pub(in super::super) const SERIES_RESISTANCE: Measurand = of_the_pack(
    "pack series resistance",
    Dimension::Resistance,
    "fall of the voltage from just before the dummy load is switched on to 1 s after it, over the rise of the current",
    "IEC 61960-3, direct-current method with two levels; the lower level is the unit at rest",
    BOTH,
    series_resistance,
);

pub(in super::super) const RECOVERY_TIME: Measurand = of_the_pack(
    "pack recovery time",
    Dimension::Time,
    "time after the dummy load goes off until 63 % of the slow part of the sag has recovered",
    "common practice; time constant of an exponential through three equal means",
    VOLTAGE,
    recovery_time,
);

/// When the second level of the resistance is read after the load went on, s (IEC 61960-3).
const SECOND_LEVEL_S: f64 = 1.0;
/// Stretch of samples through which a level is led to its moment, s.
const LEVEL_S: f64 = 0.25;
/// The shortest rest in which a recovery is seen, s.
const RECOVERY_MIN_S: f64 = 1.0;

/// A level in codes at a moment, by a line through the samples of a stretch about it.
#[derive(Debug, Clone, Copy)]
struct Height {
    code: f64,
    doubt: f64,
    scatter_variance: f64,
    degrees_of_freedom: f64,
}

impl Height {
    fn at(
        check: &CheckEvidence,
        channel: SampleChannel,
        (from, to): (Tick, Tick),
        at: Tick,
        setup: &Setup,
    ) -> Option<Self> {
        let time = |tick: Tick| seconds(tick as f64 - at as f64, setup);
        let points: Vec<(f64, f64)> =
            check.samples(channel, from, to).iter().map(|sample| (time(sample.at), f64::from(sample.code))).collect();
        let line = Line::fit(&points).filter(|_| points.len() >= SAMPLES_MIN)?;
        let (code, doubt) = line.at(0.0);
        let scatter_variance = line.y_mean_uncertainty.powi(2) * points.len() as f64;
        Some(Self { code, doubt, scatter_variance, degrees_of_freedom: line.degrees_of_freedom })
    }
}

fn series_resistance(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    loads(check)
        .into_iter()
        .map(|(on, off)| Reading { label: label_at(check, on), result: resistance(check, on, off, setup) })
        .collect()
}

fn resistance(check: &CheckEvidence, on: Tick, off: Tick, setup: &Setup) -> Result<Estimate, Withheld> {
    let (volt, ampere) =
        (Converter::of(SampleChannel::PackVoltage, setup)?, Converter::of(SampleChannel::PackCurrent, setup)?);
    let held = seconds(off.saturating_sub(on) as f64, setup);
    if held < 0.9 * SECOND_LEVEL_S {
        return Err(bench(format!("the load was on for {held:.2} s only; the second level is read after 1 s")));
    }
    let (stretch, second) = (ticks(LEVEL_S, setup), on + ticks(SECOND_LEVEL_S, setup));
    // A sample at the very tick of switching belongs to neither side.
    let before = (on.saturating_sub(2 * stretch), on.saturating_sub(1));
    let about = (second - stretch, (second + stretch).min(off - 1));
    let few = || bench("too few samples came about the load step");
    let at = |channel, window, at| Height::at(check, channel, window, at, setup).ok_or_else(few);
    let (u1, u2) = (at(SampleChannel::PackVoltage, before, on)?, at(SampleChannel::PackVoltage, about, second)?);
    let (i1, i2) = (at(SampleChannel::PackCurrent, before, on)?, at(SampleChannel::PackCurrent, about, second)?);
    let (fall, rise) = (volt.gain() * (u1.code - u2.code), ampere.gain() * (i2.code - i1.code));
    if rise <= 0.0 {
        return Err(bench("the current did not rise when the load went on; check the load's wiring"));
    }
    let value = fall / rise;
    let freedom = u1.degrees_of_freedom.min(u2.degrees_of_freedom);
    let doubt = |one: &Height, other: &Height| one.doubt.hypot(other.doubt);
    let rounding = |converter: &Converter, one: &Height, other: &Height, sensitivity: f64| {
        let variance = 0.5 * (one.scatter_variance + other.scatter_variance);
        converter.rounding(variance, std::f64::consts::SQRT_2 * sensitivity)
    };
    Ok(Estimate::of(value)
        .and(volt.gain_line(value))
        .and(ampere.gain_line(-value))
        .and(rounding(&volt, &u1, &u2, 1.0 / rise).called("resolution, voltage"))
        .and(rounding(&ampere, &i1, &i2, value / rise).called("resolution, current"))
        .with_freedom("repeat, voltage", volt.gain() * doubt(&u1, &u2) / rise, freedom)
        .with_freedom("repeat, current", value * ampere.gain() * doubt(&i1, &i2) / rise, freedom))
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
