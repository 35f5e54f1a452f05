//! Measurands that need a closer look: the largest tones, the ripple, pulses that came twice.

use super::super::evidence::{CheckEvidence, PhaseEvidence};
use super::super::values::{self, bench, clock, count, no_pulses, nobody, reading, unit};
use super::super::{Measurand, Pooling, Reading, Setup, Withheld};
use super::{CloserLook, Spectrum};
use crate::capture::EdgeChannel;
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate};

const OF_THE_CARRIAGE: &[EdgeChannel] =
    &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::EncoderA, EdgeChannel::EncoderB];

pub(in super::super) const TIME_INTERVAL_ERROR_TONE: Measurand = Measurand {
    name: "time interval error tone",
    dimension: Dimension::Time,
    about: "largest amplitude of what recurs at one frequency in the step clock's time interval error over the cruise",
    source: "IEEE Std 2414, time interval error; largest tone of its spectrum: common practice",
    edges: &[EdgeChannel::Step],
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| {
        each_spectrum(check, setup, |look| &look.step_clock, |spectrum| step_clock_tone(spectrum, setup))
    },
};

pub(in super::super) const TIMER_TICK: Measurand = Measurand {
    name: "timer tick",
    dimension: Dimension::Time,
    about: "tick of the timer behind the steps: the longest time of which the step periods of a travel's ramps are whole \
            multiples",
    source: "common practice",
    edges: &[EdgeChannel::Step],
    samples: &[],
    pooling: Pooling::Mean,
    reader: timer_tick,
};

pub(in super::super) const SPEED_RIPPLE_PEAK: Measurand = Measurand {
    name: "speed ripple peak",
    dimension: Dimension::Ratio,
    about: "largest amplitude of what recurs at one frequency in the carriage's speed over the cruise, of the mean speed; \
            up to a sixth of the encoder's edge rate",
    source: "common practice",
    edges: OF_THE_CARRIAGE,
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| each_spectrum(check, setup, |look| &look.carriage, |spectrum| Ok(ripple_peak(spectrum))),
};

pub(in super::super) const SPEED_RIPPLE_RMS: Measurand = Measurand {
    name: "speed ripple rms",
    dimension: Dimension::Ratio,
    about: "root mean square of the carriage's speed about its mean over the cruise, of the mean speed, from its \
            spectrum: from three periods in the cruise up to a sixth of the encoder's edge rate",
    source: "common practice",
    edges: OF_THE_CARRIAGE,
    samples: &[],
    pooling: Pooling::Mean,
    reader: |check, setup| each_spectrum(check, setup, |look| &look.carriage, |spectrum| Ok(ripple_rms(spectrum))),
};

pub(in super::super) const DOUBLED_STEPS: Measurand = Measurand {
    name: "doubled steps",
    dimension: Dimension::Count,
    about: "step pulses that came a second time, within a quarter of the period about them and beyond the steps' count",
    source: "common practice",
    edges: &[EdgeChannel::Step],
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, _| doubled(check),
};

fn looked(phase: &PhaseEvidence) -> Result<&CloserLook, Withheld> {
    phase.closer.as_deref().ok_or_else(|| bench("the session was not asked to look closer"))
}

fn doubled(check: &CheckEvidence) -> Vec<Reading> {
    let moves = check.phases.iter().filter(|phase| phase.phase.action.moves_the_carriage());
    moves
        .filter_map(|phase| {
            if phase.runs.is_empty() {
                let rests_there = phase.should_hit().is_some_and(|side| phase.switch(side).pressed_before);
                return (!rests_there).then(|| reading(phase, Err(no_pulses(phase))));
            }
            Some(reading(phase, looked(phase).map(|look| count(look.doubled.count))))
        })
        .collect()
}

/// Nobody is to blame for a capture that is too coarse: it stays undecided.
fn timer_tick(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    values::each_cruise(check, setup, |phase, _, _| match &looked(phase)?.timer {
        Some(Ok(found)) => Ok(found.tick(setup)),
        Some(Err(why)) => Err(nobody(*why)),
        None => Err(no_pulses(phase)),
    })
}

fn each_spectrum(
    check: &CheckEvidence,
    setup: &Setup,
    which: impl Fn(&CloserLook) -> &Option<Spectrum>,
    value: impl Fn(&Spectrum) -> Result<Estimate, Withheld>,
) -> Vec<Reading> {
    values::each_cruise(check, setup, |phase, _, _| match which(looked(phase)?) {
        Some(spectrum) => value(spectrum),
        None => Err(unit("the cruise is too short for a spectrum")),
    })
}

/// A tone, or nothing to within what could have gone unseen.
fn tone(spectrum: &Spectrum) -> Estimate {
    match &spectrum.largest {
        Some(tone) => Estimate::of(tone.amplitude)
            .with_freedom("noise", tone.amplitude_uncertainty, tone.degrees_of_freedom)
            .and(Component::rectangular("uneven spacing", spectrum.spacing)),
        None => Estimate::of(0.0).and(Component::rectangular("unseen in the noise", spectrum.unseen_at_most)),
    }
}

fn step_clock_tone(spectrum: &Spectrum, setup: &Setup) -> Result<Estimate, Withheld> {
    let tone = tone(spectrum);
    let value = tone.value;
    Ok(tone.and(clock(value, setup)))
}

/// Clock and encoder scale act on the ripple as on the mean speed, and cancel.
fn ripple_peak(spectrum: &Spectrum) -> Estimate {
    let tone = tone(spectrum);
    Estimate::combined(tone.value / spectrum.mean, &[(&tone, 1.0 / spectrum.mean)])
}

/// The part of rounding's noise that may lie elsewhere than it is taken to.
const UNEVEN_ROUNDING: f64 = 0.25;

fn ripple_rms(spectrum: &Spectrum) -> Estimate {
    let ripple = &spectrum.ripple;
    let left = (ripple.seen - ripple.noise).max(0.0).sqrt();
    // By the slope of the root where there is ripple; where there is next to none, by how far the root itself reaches.
    let on_the_root = |squared: f64| (0.5 * squared / left).min(squared.sqrt()) / spectrum.mean;
    // How much of their doubt the stamps really had is known no better than between nothing and twice as much. Rounding
    // makes what it makes, but not evenly over all frequencies where edges come at a nearly even pace.
    Estimate::of(left / spectrum.mean)
        .with("noise", on_the_root(ripple.doubt))
        .and(Component::rectangular("stamp", on_the_root(ripple.stamps)))
        .and(Component::rectangular("rounding", on_the_root(UNEVEN_ROUNDING * (ripple.noise - ripple.stamps))))
}
