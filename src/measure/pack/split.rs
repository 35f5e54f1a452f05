//! The pack's resistance split into what answers at once and what answers slowly, from a load step and its recovery.
//!
//! The voltage is fitted to the current as it was (see `course`), so that it need not be steady.

use super::super::converter::{Converter, noise};
use super::super::evidence::CheckEvidence;
use super::super::values::{bench, clock, nobody, seconds, ticks};
use super::super::{Measurand, Reading, Setup, Withheld};
use super::course::{COLUMNS, Course, OHMIC, SLOW};
use super::{BOTH, label_at, loads, next_change, of_the_pack};
use crate::capture::{SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate, NoFit, Separable};

pub(in super::super) const OHMIC_RESISTANCE: Measurand = of_the_pack(
    "pack ohmic resistance",
    Dimension::Resistance,
    "part of the pack's resistance that answers at once: a resistance in series with a resistor-capacitor pair, fitted to \
     voltage over current from a second before the dummy load goes on to the end of the rest after it",
    "common practice; equivalent circuit with one resistor-capacitor pair",
    BOTH,
    |check, setup| each_load(check, setup, Split::ohmic),
);

pub(in super::super) const SLOW_RESISTANCE: Measurand = of_the_pack(
    "pack slow resistance",
    Dimension::Resistance,
    "resistance of the resistor-capacitor pair of the fit that gives the pack's ohmic resistance",
    "common practice; equivalent circuit with one resistor-capacitor pair",
    BOTH,
    |check, setup| each_load(check, setup, Split::slow),
);

pub(in super::super) const SLOW_TIME: Measurand = of_the_pack(
    "pack slow time constant",
    Dimension::Time,
    "time constant of the resistor-capacitor pair of the fit that gives the pack's ohmic resistance",
    "common practice; equivalent circuit with one resistor-capacitor pair",
    BOTH,
    |check, setup| each_load(check, setup, Split::time_constant),
);

/// Stretch before the load that counts, s.
const BEFORE_S: f64 = 1.0;
/// The load has to be on for so long, s.
const HELD_MIN_S: f64 = 0.5;
/// The pack has to rest after it for so long, s.
const RESTED_MIN_S: f64 = 1.0;
/// Blocks of a load step.
const STEP_BLOCKS: usize = 240;
/// Time constant of the slow part where none can be told, s (common practice for small cells).
const USUAL_SLOW_S: f64 = 2.0;
/// A value whose relative standard uncertainty is larger cannot be told.
const DOUBT_MAX: f64 = 0.2;

/// A fit of voltage over current.
struct Split {
    volt: Converter,
    ampere: Converter,
    course: Course,
    fit: Separable<COLUMNS>,
    /// Whether a slow part was told from the rest.
    slow_is_told: bool,
    /// Noise of a sample of the current, A.
    current_noise: f64,
    time_clock: Component,
}

impl Split {
    fn of(check: &CheckEvidence, bounds: &[Tick], blocks: usize, setup: &Setup) -> Result<Self, Withheld> {
        let (volt, ampere) =
            (Converter::of(SampleChannel::PackVoltage, setup)?, Converter::of(SampleChannel::PackCurrent, setup)?);
        let course = Course::of(check, bounds, blocks, setup).ok_or_else(|| ampere.too_few())?;
        let range = (2.0 * course.block_s, 0.5 * course.lasts_s);
        let fit = Separable::fit(&course.readings, &course.columns(), range);
        let slow_is_told = fit.is_ok();
        let fit = fit.or_else(|_| Separable::at(&course.readings, &course.columns(), USUAL_SLOW_S));
        let fit = fit.map_err(|no_fit| match no_fit {
            NoFit::TooFew => nobody("the current hardly changed, so that the voltage tells no resistance"),
            NoFit::TooSlow | NoFit::TooFast => nobody("no slow part can be told from the ohmic one"),
        })?;
        let (first, last) = (bounds[0], bounds[bounds.len() - 1]);
        let current_noise = noise(check.samples(SampleChannel::PackCurrent, first, last)) * ampere.gain();
        let time_clock = clock(fit.time_constant, setup);
        Ok(Self { volt, ampere, course, fit, slow_is_told, current_noise, time_clock })
    }

    /// One of the two resistances.
    fn resistance(&self, which: usize) -> Result<Estimate, Withheld> {
        let gain = self.volt.gain();
        let (value, doubt) = (-gain * self.fit.linear[which], gain * self.fit.linear_doubt(which));
        if doubt.is_nan() || doubt > DOUBT_MAX * value.abs() {
            return Err(nobody("the current changed too little for the voltage to tell this resistance"));
        }
        let (samples, blocks) = (self.course.samples.max(1.0), self.course.readings.len() as f64);
        // Noise of the currents makes the line through them flatter by their variance over the spread of the currents. In
        // blocks of many samples that is next to nothing, so that it is doubt here and not corrected.
        let noise = self.current_noise / self.course.current_spread;
        let flatter = value * noise * noise / samples;
        let across = 1.0 / (self.course.current_spread * blocks.sqrt());
        Ok(Estimate::of(value)
            .and(self.volt.gain_line(value))
            .and(self.ampere.gain_line(-value))
            .and(self.volt.rounding(self.fit.variance * samples, across))
            .and(Component::rectangular("noise of the current, flattening", flatter))
            .with_freedom("repeat, current", value * noise / (blocks * samples).sqrt(), self.fit.degrees_of_freedom)
            .with_freedom("repeat, fit", doubt, self.fit.degrees_of_freedom))
    }

    fn ohmic(&self) -> Result<Estimate, Withheld> {
        self.resistance(OHMIC)
    }

    fn slow(&self) -> Result<Estimate, Withheld> {
        if self.slow_is_told {
            self.resistance(SLOW)
        } else {
            Err(nobody("no slow part can be told from the ohmic one"))
        }
    }

    fn time_constant(&self) -> Result<Estimate, Withheld> {
        self.slow()?;
        let (value, doubt) = (self.fit.time_constant, self.fit.time_doubt());
        if doubt.is_nan() || doubt > DOUBT_MAX * value {
            return Err(nobody("the rest after the load is too short to tell the slow part's time constant"));
        }
        let estimate = Estimate::of(value).and(self.time_clock.clone());
        Ok(estimate.with_freedom("repeat, fit", doubt, self.fit.degrees_of_freedom))
    }
}

fn each_load(
    check: &CheckEvidence,
    setup: &Setup,
    value: impl Fn(&Split) -> Result<Estimate, Withheld>,
) -> Vec<Reading> {
    let readings = loads(check).into_iter().filter(|(_, off)| *off < check.ended).map(|(on, off)| {
        let result = load_step(check, (on, off), setup).and_then(|split| value(&split));
        Reading { label: label_at(check, on), result }
    });
    readings.collect()
}

fn load_step(check: &CheckEvidence, (on, off): (Tick, Tick), setup: &Setup) -> Result<Split, Withheld> {
    let until = next_change(check, off);
    if seconds(off.saturating_sub(on) as f64, setup) < HELD_MIN_S
        || seconds(until.saturating_sub(off) as f64, setup) < RESTED_MIN_S
    {
        return Err(bench("the load was on for less than half a second, or the rest after it was less than a second"));
    }
    let runs = check.phases.iter().flat_map(|phase| &phase.runs).map(|run| run.last);
    let switched = check.driven.iter().map(|driven| driven.at);
    let busy = runs.chain(switched).filter(|at| *at < on).max().unwrap_or(check.began).max(check.began);
    let from = busy.max(on.saturating_sub(ticks(BEFORE_S, setup)));
    Split::of(check, &[from, on, off, until], STEP_BLOCKS, setup)
}
