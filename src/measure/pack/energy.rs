//! Power and energy: what a cruise, a traverse and the check's duty take, and how long a full pack lasts at that.
//!
//! Power is voltage times current sample by sample. A traverse costs what its first to its last step cost; a duty is the
//! check from its first to its last step, rests between its moves included.

use super::super::converter::{Converter, SAMPLES_MIN, noise};
use super::super::evidence::{CheckEvidence, PhaseEvidence};
use super::super::values::{bench, each_cruise, interval, nobody, reading, seconds, whole};
use super::super::{Measurand, Reading, Setup, Withheld};
use super::{BOTH, of_the_pack, with_steps};
use crate::capture::{Action, Destination, Sample, SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate};

pub(in super::super) const CRUISE_POWER: Measurand = with_steps(of_the_pack(
    "cruise power",
    Dimension::Power,
    "mean power out of the pack while the step rate of a travel is steady",
    "common practice",
    BOTH,
    cruise_power,
));

pub(in super::super) const TRAVERSE_ENERGY: Measurand = with_steps(of_the_pack(
    "energy per traverse",
    Dimension::Energy,
    "energy out of the pack from the first to the last step of a travel to an end",
    "common practice",
    BOTH,
    traverse_energy,
));

pub(in super::super) const DUTY_POWER: Measurand = with_steps(of_the_pack(
    "duty power",
    Dimension::Power,
    "mean power out of the pack from the first to the last step of the check, rests between its moves included",
    "common practice",
    BOTH,
    |check, setup| duty(check, setup, Ok),
));

pub(in super::super) const RUNNING_TIME: Measurand = with_steps(of_the_pack(
    "running time",
    Dimension::Time,
    "time for which a full pack, of the unit file's capacity and nominal voltage, gives the check's duty power",
    "common practice",
    BOTH,
    |check, setup| duty(check, setup, |power| running_time(&power, setup)),
));

/// A duty shorter than this tells nothing of hours, s.
const DUTY_MIN_S: f64 = 1.0;

fn cruise_power(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_cruise(check, setup, |_, cruise, _| mean_power(check, (cruise.began, cruise.ended), setup))
}

fn traverse_energy(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let to_an_end =
        |phase: &&PhaseEvidence| matches!(phase.phase.action, Action::Travel { to: Destination::End(_), .. });
    let readings = check.phases.iter().filter(to_an_end).filter_map(|phase| {
        let (first, last) = (phase.runs.first()?.first, phase.runs.last()?.last);
        let result = mean_power(check, (first, last), setup).map(|power| {
            let time = interval((last - first) as f64, setup);
            Estimate::combined(power.value * time.value, &[(&power, time.value), (&time, power.value)])
        });
        Some(reading(phase, result))
    });
    readings.collect()
}

fn duty(check: &CheckEvidence, setup: &Setup, value: impl Fn(Estimate) -> Result<Estimate, Withheld>) -> Vec<Reading> {
    let runs = || check.phases.iter().flat_map(|phase| &phase.runs);
    let (Some(first), Some(last)) = (runs().map(|run| run.first).min(), runs().map(|run| run.last).max()) else {
        return Vec::new();
    };
    if seconds((last - first) as f64, setup) < DUTY_MIN_S {
        return Vec::new();
    }
    vec![whole(mean_power(check, (first, last), setup).and_then(value))]
}

fn running_time(power: &Estimate, setup: &Setup) -> Result<Estimate, Withheld> {
    let Some((energy, doubt)) = setup.unit.pack.energy else {
        return Err(nobody("the unit file does not say what its pack holds (nominal voltage, capacity)"));
    };
    if power.value <= 2.0 * power.standard_uncertainty() {
        return Err(nobody("the power that was taken cannot be told from nothing"));
    }
    let time = energy / power.value;
    let full = Estimate::of(energy).and(Component::normal("capacity of a pack", doubt).through(energy, "1"));
    Ok(Estimate::combined(time, &[(&full, 1.0 / power.value), (power, -time / power.value)]))
}

/// Sums over a stretch that the budget of a power needs.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    volt: f64,
    ampere: f64,
    product: f64,
    count: f64,
}

/// Mean power from `from` to `to`, of samples at a steady rate.
fn mean_power(check: &CheckEvidence, (from, to): (Tick, Tick), setup: &Setup) -> Result<Estimate, Withheld> {
    let (volt, ampere) =
        (Converter::of(SampleChannel::PackVoltage, setup)?, Converter::of(SampleChannel::PackCurrent, setup)?);
    let volts = check.samples(SampleChannel::PackVoltage, from, to);
    let amperes = check.samples(SampleChannel::PackCurrent, from, to);
    if volts.len().min(amperes.len()) < SAMPLES_MIN {
        return Err(bench("too few samples of voltage and current came in this stretch"));
    }
    let mut sums = Sums::default();
    let mut near = 0;
    for sample in amperes {
        let (u, i) = (volt.value(code_at(volts, sample.at, &mut near)), ampere.value(f64::from(sample.code)));
        sums.volt += u;
        sums.ampere += i;
        sums.product += u * i;
        sums.count += 1.0;
    }
    let mean = |sum: f64| sum / sums.count;
    let (u, i, power) = (mean(sums.volt), mean(sums.ampere), mean(sums.product));
    let by_noise = (noise(volts) * volt.gain() * i).hypot(noise(amperes) * ampere.gain() * u) / sums.count.sqrt();
    // The stretch begins and ends between two samples: each end is off by up to half a sample of what differs from the mean
    // there, which is at most about the mean itself.
    let ends = power.abs() / sums.count;
    Ok(Estimate::of(power)
        .and(volt.gain_line(power - volt.offset() * i))
        .and(volt.offset_line(i))
        .and(ampere.gain_line(power - ampere.offset() * u))
        .and(ampere.offset_line(u))
        .and(ampere.rounding(noise(amperes).powi(2), u))
        .and(Component::triangular("sampling at the ends", 0.5 * ends))
        .with_freedom("repeat", by_noise, sums.count - 1.0))
}

/// The code at a moment, straight between the samples about it. `near` is where the search begins, and moves on.
pub(super) fn code_at(samples: &[Sample], at: Tick, near: &mut usize) -> f64 {
    while *near + 1 < samples.len() && samples[*near + 1].at <= at {
        *near += 1;
    }
    let before = samples[*near];
    match samples.get(*near + 1) {
        Some(after) if at > before.at && after.at > before.at => {
            let share = (at - before.at) as f64 / (after.at - before.at) as f64;
            f64::from(before.code) + share * (f64::from(after.code) - f64::from(before.code))
        }
        _ => f64::from(before.code),
    }
}
