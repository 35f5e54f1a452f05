//! The pack's resistance while the unit works: by regression of voltage on current, wherever the current moves.
//!
//! Samples of a whole check cannot be regressed as they stand: the slow part of the pack and its charge make the voltage
//! wander, so that what is left of neighbouring samples is alike and says less than it seems to. In pieces of half a second
//! each level and each slope is the piece's own, and what the current itself sets going grows with the charge taken since,
//! for a resistor-capacitor pair and for the open-circuit voltage alike. What is left then is noise. A piece lies with its
//! middle on each change of load, which is where it tells most; the rest of the check makes pieces of its own.

use super::super::converter::{Converter, ROUNDING, SAMPLES_MIN, noise};
use super::super::evidence::CheckEvidence;
use super::super::values::{WHOLE_CHECK, nobody, seconds, ticks, whole};
use super::super::{Measurand, Reading, Setup, Withheld};
use super::energy::code_at;
use super::{BOTH, label_at, of_the_pack};
use crate::capture::{OutputChannel, SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::summary::Line;
use crate::stats::{Component, Estimate, likeness};

pub(in super::super) const RESISTANCE_IN_USE: Measurand = of_the_pack(
    "pack resistance in use",
    Dimension::Resistance,
    "fall of the voltage per rise of the current that answers at once, by regression over all samples of the check while the \
     current moves: cells, contacts and wiring without what follows slowly",
    "common practice; least squares in pieces of half a second, each with a level and a slope of its own",
    BOTH,
    in_use,
);

/// From the middle of a piece to its ends, s.
const REACH_S: f64 = 0.25;
/// The current of a piece moves where it scatters by so many times its noise.
const MOVES: f64 = 6.0;
/// Shortest time constant of a slow part that is one, s (common practice for small cells).
const SLOW_MIN_S: f64 = 1.0;
/// A value whose relative standard uncertainty is larger cannot be told.
const DOUBT_MAX: f64 = 0.2;

/// One reading for each pack in whose time the current moves.
fn in_use(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let swaps = check.driven.iter().filter(|driven| driven.output == OutputChannel::LowPack).map(|driven| driven.at);
    let bounds: Vec<Tick> = std::iter::once(check.began).chain(swaps).chain([check.ended]).collect();
    let fits = bounds.windows(2).filter_map(|pair| {
        let fit = Moved::of(check, (pair[0], pair[1]), setup);
        fit.map(|moved| Some((pair[0], moved?))).transpose()
    });
    let fits: Vec<Result<(Tick, Moved), Withheld>> = fits.collect();
    if fits.is_empty() {
        return vec![whole(Err(nobody("the current never moved, so that the voltage tells no resistance")))];
    }
    let single = fits.len() == 1;
    let reading = |fit: Result<(Tick, Moved), Withheld>| match fit {
        Ok((from, moved)) => Reading {
            label: if single { WHOLE_CHECK.into() } else { label_at(check, from) },
            result: moved.resistance(),
        },
        Err(withheld) => whole(Err(withheld)),
    };
    fits.into_iter().map(reading).collect()
}

/// When something may change what the pack gives: runs begin and end, outputs are switched.
fn changes(check: &CheckEvidence, (from, to): (Tick, Tick)) -> Vec<Tick> {
    let runs = check.phases.iter().flat_map(|phase| &phase.runs).flat_map(|run| [run.first, run.last]);
    let mut changes: Vec<Tick> = runs.chain(switchings(check)).filter(|at| (from..to).contains(at)).collect();
    changes.sort_unstable();
    changes
}

fn switchings(check: &CheckEvidence) -> impl Iterator<Item = Tick> {
    check.driven.iter().filter(|driven| !matches!(driven.output, OutputChannel::Press(_))).map(|driven| driven.at)
}

/// Pieces about the changes, no two of which overlap, and between them pieces of about their length.
fn pieces((from, to): (Tick, Tick), changes: &[Tick], reach: Tick) -> Vec<(Tick, Tick)> {
    let mut pieces = Vec::new();
    let fill = |from: Tick, to: Tick, pieces: &mut Vec<(Tick, Tick)>| {
        let (length, count) = (to.saturating_sub(from), to.saturating_sub(from).div_ceil(2 * reach.max(1)));
        pieces.extend((0..count).map(|part| (from + length * part / count, from + length * (part + 1) / count)));
    };
    let mut done = from;
    for (index, at) in changes.iter().enumerate() {
        let until = changes.get(index + 1).map_or(to, |next| at + (next - at) / 2);
        let begins = at.saturating_sub(reach).max(done);
        let ends = (at + reach).min(until).max(begins);
        fill(done, begins, &mut pieces);
        pieces.push((begins, ends));
        done = ends;
    }
    fill(done, to, &mut pieces);
    pieces
}

/// Samples of the pieces in which the current moves, each column without its level and slope in its piece.
struct Moved {
    volt: Converter,
    ampere: Converter,
    /// Voltage in codes, current in A, charge taken since the piece began in A·s.
    columns: [Vec<f64>; 3],
    pieces: usize,
    /// Noise of a sample of the current, A, rounding included.
    current_noise: f64,
    /// Time between two samples, s.
    sample_s: f64,
}

impl Moved {
    /// `None` where the current does not move.
    fn of(check: &CheckEvidence, stretch: (Tick, Tick), setup: &Setup) -> Result<Option<Self>, Withheld> {
        let (volt, ampere) =
            (Converter::of(SampleChannel::PackVoltage, setup)?, Converter::of(SampleChannel::PackCurrent, setup)?);
        let samples = |channel| check.samples(channel, stretch.0, stretch.1.saturating_sub(1));
        let (volts, amperes) = (samples(SampleChannel::PackVoltage), samples(SampleChannel::PackCurrent));
        let lasts = seconds(stretch.1.saturating_sub(stretch.0) as f64, setup);
        if volts.len().min(amperes.len()) < SAMPLES_MIN {
            // A moment between two switchings need not hold any.
            return if lasts < 2.0 * REACH_S { Ok(None) } else { Err(volt.too_few()) };
        }
        let current_noise = noise(amperes).max(ROUNDING.sqrt()) * ampere.gain().abs();
        let sample_s = lasts / amperes.len() as f64;
        let mut moved = Self { volt, ampere, columns: Default::default(), pieces: 0, current_noise, sample_s };
        let switched: Vec<Tick> = switchings(check).collect();
        let mut near = 0;
        for (begins, ends) in pieces(stretch, &changes(check, stretch), ticks(REACH_S, setup)) {
            let mut piece = Piece::default();
            let mut before = None;
            for sample in check.samples(SampleChannel::PackCurrent, begins, ends.saturating_sub(1)) {
                let since = before.replace(sample.at).unwrap_or(sample.at);
                let current = ampere.value(f64::from(sample.code));
                let passed = seconds((sample.at - since) as f64, setup);
                // What was averaged over a switching belongs to neither side, but its charge was taken.
                let kept = !switched.iter().any(|at| since < *at && *at <= sample.at);
                piece.take(passed, current, kept.then(|| code_at(volts, sample.at, &mut near)));
            }
            moved.add(piece);
        }
        Ok((moved.pieces > 0).then_some(moved))
    }

    /// Adds a piece if its current moves.
    fn add(&mut self, piece: Piece) {
        if piece.times.len() < SAMPLES_MIN {
            return;
        }
        let Some(columns) = piece.without_line() else { return };
        let squares: f64 = columns[1].iter().map(|current| current * current).sum();
        if squares < (MOVES * self.current_noise).powi(2) * columns[1].len() as f64 {
            return;
        }
        self.pieces += 1;
        for (all, column) in self.columns.iter_mut().zip(columns) {
            all.extend(column);
        }
    }

    fn resistance(&self) -> Result<Estimate, Withheld> {
        let unclear = || nobody("the current moved too little for the voltage to tell a resistance");
        let fit = Fit::through(&self.columns, self.pieces).ok_or_else(unclear)?;
        let gain = self.volt.gain();
        let (slope, growth) = (-gain * fit.slope, -gain * fit.growth);
        // Noise of the currents flattens the line by their share of what the currents moved.
        let count = self.columns[0].len() as f64;
        let flatter = slope * count * self.current_noise.powi(2) / fit.moved_squares;
        // A slow part that bends within the reach h is taken for one at once by h²/12τ of its growth, R/τ: half of that at the
        // shortest time constant is taken off, and as much left in doubt.
        let bent = growth * REACH_S.powi(2) / (24.0 * SLOW_MIN_S);
        let value = slope + flatter - bent;
        let doubt = (gain * fit.slope_doubt).abs();
        if doubt.is_nan() || doubt > DOUBT_MAX * value.abs() {
            return Err(unclear());
        }
        // A level before and one after each change: with a slope each, the current scatters by a quarter of the change.
        let per_level = std::f64::consts::SQRT_2 / (4.0 * (fit.moved_squares / count * self.pieces as f64).sqrt());
        let current_codes = (self.current_noise / self.ampere.gain()).powi(2);
        Ok(Estimate::of(value)
            .and(self.volt.gain_line(value))
            .and(self.ampere.gain_line(-value))
            .and(self.volt.rounding(fit.variance, per_level).called("resolution, voltage"))
            .and(self.ampere.rounding(current_codes, value * per_level).called("resolution, current"))
            .and(Component::rectangular("noise of the current, flattening", flatter))
            .and(Component::rectangular("slow part", bent))
            .and(Component::rectangular("sampling at the changes", 0.5 * growth * self.sample_s))
            .with_freedom("repeat, fit", doubt, fit.degrees_of_freedom))
    }
}

/// Samples of a piece.
#[derive(Default)]
struct Piece {
    times: Vec<f64>,
    columns: [Vec<f64>; 3],
    now: f64,
    charge: f64,
    last: Option<f64>,
}

impl Piece {
    /// A current, `passed` seconds after the one before, and the voltage with it where that counts.
    fn take(&mut self, passed: f64, current: f64, volt: Option<f64>) {
        self.now += passed;
        self.charge += 0.5 * (current + self.last.replace(current).unwrap_or(current)) * passed;
        if let Some(volt) = volt {
            self.times.push(self.now);
            for (column, value) in self.columns.iter_mut().zip([volt, current, self.charge]) {
                column.push(value);
            }
        }
    }

    /// The columns about their lines in time; `None` where there are no such lines.
    fn without_line(mut self) -> Option<[Vec<f64>; 3]> {
        for column in &mut self.columns {
            let points: Vec<(f64, f64)> = self.times.iter().copied().zip(column.iter().copied()).collect();
            let line = Line::fit(&points)?;
            for (value, (time, _)) in column.iter_mut().zip(points) {
                *value -= line.at(time).0;
            }
        }
        Some(self.columns)
    }
}

/// Least squares of the voltage on current and charge.
struct Fit {
    /// Codes per A.
    slope: f64,
    slope_doubt: f64,
    /// Codes per A·s.
    growth: f64,
    /// What the current moved beyond what goes with the charge, as a sum of squares, A².
    moved_squares: f64,
    /// Of a voltage about the fit, codes².
    variance: f64,
    degrees_of_freedom: f64,
}

impl Fit {
    fn through([volts, currents, charges]: &[Vec<f64>; 3], pieces: usize) -> Option<Self> {
        let product = |one: &[f64], other: &[f64]| one.iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
        let (own, both, charge) = (product(currents, currents), product(currents, charges), product(charges, charges));
        let (by_current, by_charge) = (product(currents, volts), product(charges, volts));
        let freedom = volts.len() as f64 - 2.0 * pieces as f64 - 2.0;
        let moved_squares = own - both * both / charge;
        // Where current and charge go together nothing tells them apart.
        if freedom < 1.0 || moved_squares.is_nan() || moved_squares < 1e-6 * own {
            return None;
        }
        let slope = (by_current - both * by_charge / charge) / moved_squares;
        let growth = (by_charge - both * slope) / charge;
        let rest = volts.iter().zip(currents).zip(charges).map(|((v, i), q)| v - slope * i - growth * q);
        let rest: Vec<f64> = rest.collect();
        let squares = product(&rest, &rest);
        let alike = likeness(product(&rest, &rest[1..]) / squares, rest.len());
        let variance = squares / freedom;
        let slope_doubt = (variance * alike / moved_squares).sqrt();
        let degrees_of_freedom = (freedom / alike).max(1.0);
        Some(Self { slope, slope_doubt, growth, moved_squares, variance, degrees_of_freedom })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_fill_the_stretch_about_the_changes() {
        assert_eq!(pieces((0, 100), &[], 50), [(0, 100)]);
        // About 30 and 70, with what lies before, between and after.
        assert_eq!(pieces((0, 100), &[30, 70], 10), [(0, 20), (20, 40), (40, 60), (60, 80), (80, 100)]);
        // Two changes closer than two reaches share what lies between them.
        assert_eq!(pieces((0, 40), &[10, 20], 10), [(0, 15), (15, 30), (30, 40)]);
        assert_eq!(pieces((5, 5), &[], 10), []);
    }

    /// By hand: U = 2 − 0.5·I without any noise, the current 0 and then 1, the charge growing from then on.
    #[test]
    fn a_resistance_is_found_through_a_drift() {
        let mut piece = Piece::default();
        for index in 0..20 {
            let (time, current) = (0.1 * f64::from(index), f64::from(index / 10));
            piece.take(if index == 0 { 0.0 } else { 0.1 }, current, Some(2.0 - 0.5 * current + 0.03 * time));
        }
        let columns = piece.without_line().expect("many samples");
        assert!(columns.iter().all(|column| column.iter().sum::<f64>().abs() < 1e-12));
        let fit = Fit::through(&columns, 1).expect("the current moves");
        assert!((fit.slope + 0.5).abs() < 1e-9 && fit.growth.abs() < 1e-9, "{} {}", fit.slope, fit.growth);
        assert!(Fit::through(&[vec![1.0; 9], vec![0.0; 9], vec![0.0; 9]], 1).is_none());
    }
}
