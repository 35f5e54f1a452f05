//! Spectra of a cruise: the time interval error of the step clock, and the ripple of the carriage's speed.
//!
//! Steps and encoder edges are events, not readings at even times. They are even in their number: step k should come at
//! a + b·k, and the carriage should pass border m at a + b·m. What is left after that line of least squares is the time
//! interval error, one reading a step; times the mean speed it is the carriage's position error, one reading a border.
//! A frequency in cycles a step or a border, times the mean rate, is one in hertz. That holds as long as the error is
//! small against the period of what is looked for, which a cruise within 3 % of its rate keeps.
//!
//! A step that was skipped would move all that follow by a period. It is put in where it was due, as late as the one
//! before it, so that the error is that against the clock's own beat; skipped steps are listed by themselves.
//!
//! Of a position error of amplitude a at frequency f the speed swings by 2πf·a. The speed is taken from there, and not
//! from differences of times, whose noise would grow with the square of the frequency all the same.

use super::causes::{Family, families};
use super::{READINGS_MAX, View, stumbles};
use crate::capture::{Edge, Tick};
use crate::measure::values::{RECTANGULAR, stamp_variance};
use crate::stats::spectrum::{Density, Detrend, Lines, Search, Tone, Tones, Welch, Window, quick_length};
use crate::stats::summary;
use std::f64::consts::{PI, TAU};

/// The first line that is looked at: what takes longer than a third of the cruise is not told from a trend.
const FIRST_LINE: usize = 3;
/// The most tones that are taken.
const TONES_MAX: usize = 128;
/// The fewest readings of a spectrum.
const READINGS_MIN: usize = 256;
/// Readings in a segment of the density.
const SEGMENT: usize = 256;
/// The carriage is looked at up to this part of the rate of the encoder's edges. A quarter of it is the encoder's own
/// line, whose uneven tracks are no ripple of the carriage.
const BELOW_THE_ENCODERS_LINE: f64 = 1.0 / 6.0;

/// The spectrum of a cruise.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    /// Tones by their causes, the family of most power first.
    pub families: Vec<Family>,
    /// Tones that were not taken, because there were too many.
    pub left_out: usize,
    /// Distance of two lines, Hz: tones nearer than some of these are not told apart.
    pub resolution: f64,
    /// Lowest and highest frequency that was looked at, Hz.
    pub band: (f64, f64),
    /// How many readings were taken: steps, or borders of the encoder.
    pub readings: usize,
    /// How many the cruise has.
    pub of_readings: usize,
    /// Readings a second.
    pub rate: f64,
    /// The largest amplitude that could have gone unseen anywhere in the band.
    pub unseen_at_most: f64,
    /// Density of the readings by Welch's method: s²/Hz of time interval errors, m²/Hz of positions. In segments of
    /// 256, Hann, half overlap, straight line taken out.
    pub density: Option<Density>,
    /// The tone of largest amplitude.
    pub largest: Option<Tone>,
    /// By how much uneven spacing of the readings can have changed the largest tone.
    pub(super) spacing: f64,
    /// Carriage: mean speed, m/s. Step clock: steps a second.
    pub(super) mean: f64,
    /// Carriage: mean square of the speed's ripple in the band, of the jig's noise in it, and its standard uncertainty.
    pub(super) ripple: Ripple,
}

/// Mean squares, m²/s².
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Ripple {
    /// All that was seen.
    pub seen: f64,
    /// What of that rounding to whole ticks and the jig's stamps make by themselves.
    pub noise: f64,
    /// What of the noise is the stamps'.
    pub stamps: f64,
    /// Standard uncertainty that the noise leaves of `seen`.
    pub doubt: f64,
}

/// Readings of a series that is even in its number.
struct Series {
    /// Deviations from even, ticks.
    values: Vec<f64>,
    of_readings: usize,
    /// Mean distance of two, ticks.
    period: f64,
}

impl Series {
    /// From when each came; `None` of too few.
    fn of(ticks: &[Tick]) -> Option<Self> {
        let count = quick_length(ticks.len().min(READINGS_MAX));
        if count < READINGS_MIN {
            return None;
        }
        let period = (ticks[count - 1] - ticks[0]) as f64 / (count - 1) as f64;
        let late = |(index, tick): (usize, &Tick)| (tick - ticks[0]) as f64 - period * index as f64;
        let values = ticks[..count].iter().enumerate().map(late).collect();
        (period > 0.0).then_some(Self { values, of_readings: ticks.len(), period })
    }
}

impl Series {
    /// By how much the rate in any part of the series can differ from the mean of the whole, seen over its length: a
    /// carriage that sways passes its borders unevenly.
    fn mean_off_at_most(&self) -> f64 {
        let (low, high) =
            self.values.iter().fold((0.0_f64, 0.0_f64), |(low, high), value| (low.min(*value), high.max(*value)));
        (high - low) / (self.period * self.values.len() as f64)
    }
}

/// The time interval error of the steps of a cruise.
pub(super) fn step_clock(view: &View<'_>, began: Tick, ended: Tick) -> Option<Spectrum> {
    let pulses = view.section.pulses;
    let first = pulses.partition_point(|pulse| pulse.tick() < began);
    let last = pulses.partition_point(|pulse| pulse.tick() <= ended);
    let mut series = Series::of(&with_skipped(&pulses[first..last]))?;
    series.of_readings = last - first;
    let rate = 1.0 / view.seconds(series.period);
    let tick = view.seconds(1.0);
    spectrum(view, &series, rate, rate, (0.5 * rate, tick), |_| 1.0)
}

/// When steps came, those that were skipped put in; as many as a spectrum takes.
fn with_skipped(pulses: &[Edge]) -> Vec<Tick> {
    let mut ticks: Vec<Tick> = Vec::with_capacity(pulses.len().min(READINGS_MAX));
    let mut gaps = stumbles::gaps(pulses).peekable();
    for (index, pulse) in pulses.iter().enumerate() {
        if ticks.len() >= READINGS_MAX {
            break;
        }
        ticks.push(pulse.tick());
        if let Some(gap) = gaps.next_if(|gap| gap.index == index) {
            let due = |missed: usize| pulse.tick() + (gap.period * missed as f64) as Tick;
            ticks.extend((1..=gap.skipped.min(READINGS_MAX - ticks.len())).map(due));
        }
    }
    ticks
}

/// The speed of the carriage over a cruise; `step_rate` is in steps a second.
pub(super) fn carriage(view: &View<'_>, began: Tick, ended: Tick, step_rate: f64) -> Option<Spectrum> {
    if !view.sees_carriage() {
        return None;
    }
    let ticks = passed(view, began, ended)?;
    let series = Series::of(&ticks)?;
    let rate = 1.0 / view.seconds(series.period);
    let speed = rate / view.setup.jig.encoder_edges_per_metre;
    let highest = rate * BELOW_THE_ENCODERS_LINE;
    let metres_per_tick = speed * view.seconds(1.0);
    let mut spectrum =
        spectrum(view, &series, rate, step_rate, (highest, metres_per_tick), |frequency| TAU * frequency)?;
    spectrum.mean = speed;
    Some(spectrum)
}

/// When the carriage first passed each border in the direction of the cruise.
fn passed(view: &View<'_>, began: Tick, ended: Tick) -> Option<Vec<Tick>> {
    let path = &view.section.path;
    let first = path.ticks.partition_point(|at| *at < began);
    let last = path.ticks.partition_point(|at| *at <= ended).checked_sub(1).filter(|last| *last > first)?;
    let sense = (path.border(last) - path.border(first)).signum();
    let mut furthest = path.border(first) - sense;
    let mut ticks = Vec::new();
    for index in first..=last {
        let border = path.border(index);
        if (border - furthest) * sense > 0.0 {
            furthest = border;
            ticks.push(path.ticks[index]);
        }
    }
    Some(ticks)
}

/// The spectrum of a series; `limits` are the highest frequency and what a tick is worth, `gain` turns the amplitude of
/// a reading at a frequency into that of what is shown.
fn spectrum(
    view: &View<'_>,
    series: &Series,
    rate: f64,
    step_rate: f64,
    (highest, per_tick): (f64, f64),
    gain: impl Fn(f64) -> f64,
) -> Option<Spectrum> {
    let values: Vec<f64> = series.values.iter().map(|ticks| ticks * per_tick).collect();
    let lines = Lines::of(&values, rate, Window::Hann, Detrend::Linear)?;
    let tones = lines.tones(&Search { first_line: FIRST_LINE, highest, most: TONES_MAX });
    let rounding = rounding(&tones, lines.count, per_tick);
    let off = series.mean_off_at_most();
    let taken = tones.found.iter().filter(|tone| tone.amplitude > rounding);
    let taken: Vec<Tone> = taken.map(|tone| shown(tone, gain(tone.frequency), off)).collect();
    let largest = taken.iter().copied().max_by(|one, other| one.amplitude.total_cmp(&other.amplitude));
    let scatter = summary::standard_deviation(&series.values).map_or(0.0, |ticks| view.seconds(ticks));
    let with_spacing = |tone: Tone| Tone {
        amplitude_uncertainty: tone.amplitude_uncertainty.hypot(2.0 * RECTANGULAR * uneven_spacing(&tone, scatter)),
        ..tone
    };
    let found: Vec<Tone> = taken.into_iter().map(with_spacing).collect();
    let lowest = FIRST_LINE as f64 * lines.width;
    let unseen = |frequency: f64| tones.smallest_at(frequency).max(rounding) * gain(frequency);
    let places = tones.noise_places().chain([lowest, highest]);
    let tick_noise = 4.0 * Window::Hann.noise_bandwidth() / lines.count as f64 * per_tick * per_tick;
    let variance = stamp_variance(view.setup);
    let mut ripple = ripple(&lines, highest, variance * tick_noise, &gain);
    ripple.stamps = ripple.noise * (1.0 - RECTANGULAR * RECTANGULAR / variance);
    Some(Spectrum {
        unseen_at_most: places.map(unseen).fold(0.0, f64::max),
        density: Welch::usual(SEGMENT).density(&values, rate),
        families: families(found, &view.setup.unit, step_rate, lines.width),
        left_out: tones.left_out,
        resolution: lines.width,
        band: (lowest, highest),
        readings: lines.count,
        of_readings: series.of_readings,
        rate,
        largest,
        spacing: largest.map_or(0.0, |tone| uneven_spacing(&tone, scatter)),
        mean: rate,
        ripple,
    })
}

/// By how much a tone in time can seem smaller, because readings that are even in their number are uneven in time by
/// `scatter` seconds: its phase swings by β = 2πf·scatter, which leaves exp(−β²/2) of it and puts the rest beside it.
fn uneven_spacing(tone: &Tone, scatter: f64) -> f64 {
    let swing = TAU * tone.frequency * scatter;
    tone.amplitude * (1.0 - (-0.5 * swing * swing).exp())
}

/// A tone as it is shown: its amplitude times `gain`, its frequency with the doubt of the mean rate that it rests on.
fn shown(tone: &Tone, gain: f64, rate_off_at_most: f64) -> Tone {
    let of_the_rate = 2.0 * RECTANGULAR * rate_off_at_most * tone.frequency;
    Tone {
        amplitude: tone.amplitude * gain,
        amplitude_uncertainty: tone.amplitude_uncertainty * gain,
        frequency_uncertainty: tone.frequency_uncertainty.hypot(of_the_rate),
        ..*tone
    }
}

/// The largest amplitude that rounding to whole ticks can give one tone. A step clock without noise that beats slowly
/// with the jig's makes a sawtooth of one tick, whose fundamental has amplitude 1/π; noise of standard deviation σ
/// ticks blurs it by exp(−2π²σ²) (Widrow and Kollár, Quantization Noise, 2008, from memory; the characteristic function
/// of a normal deviate). The noise is taken from the spectrum, less what rounding itself makes. Smaller tones are not
/// taken: they may be the jig's. To a larger one rounding adds noise alone, unless the clocks beat at that very line.
fn rounding(tones: &Tones, count: usize, per_tick: f64) -> f64 {
    let mut powers: Vec<f64> = tones.noise().map(|(_, level)| level * level).collect();
    powers.sort_by(f64::total_cmp);
    let Some(power) = powers.get(powers.len() / 2) else { return 0.0 };
    let variance = power * count as f64 / (4.0 * Window::Hann.noise_bandwidth()) / (per_tick * per_tick);
    let blur = (-2.0 * PI * PI * (variance - RECTANGULAR * RECTANGULAR).max(0.0)).exp();
    per_tick / PI * blur
}

/// Mean square of what is in the band. `noise` is the mean square amplitude of a line that the stamps make.
///
/// A line of amplitude A holds A²/2, less by the window's noise bandwidth because a tone spreads over several lines. Of
/// a line with signal s and noise n in mean squares the noise leaves a variance of 2·s·n where they beat and n² where
/// it is alone, each larger by what neighbouring lines of the window have in common: 1.5 and 35/18.
fn ripple(lines: &Lines, highest: f64, noise: f64, gain: impl Fn(f64) -> f64) -> Ripple {
    const BEATING: f64 = 1.5;
    const ALONE: f64 = 35.0 / 18.0;
    let share = 0.5 / Window::Hann.noise_bandwidth();
    let last = ((highest / lines.width) as usize).min(lines.values.len().saturating_sub(1));
    let mut ripple = Ripple::default();
    let mut variance = 0.0;
    for line in FIRST_LINE..=last {
        let squared = gain(lines.frequency(line)).powi(2) * share;
        let (seen, noise) = (lines.values[line].norm_sqr() * squared, noise * squared);
        ripple.seen += seen;
        ripple.noise += noise;
        variance += 2.0 * BEATING * (seen - noise).max(0.0) * noise + ALONE * noise * noise;
    }
    ripple.doubt = variance.sqrt();
    ripple
}
