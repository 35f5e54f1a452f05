//! How far a positioning parameter is in doubt, by propagation of distributions (JCGM 101:2008).
//!
//! The parameters are largest and smallest values of noisy means and standard deviations. That has no linear budget, and
//! a bias: the largest of ten standard deviations of five readings is half as large again as the true one. So the test is
//! carried out anew many times in the computer, with targets as they were found and one scatter common to all of them, and
//! each time it is seen how far the parameter comes out from what it is there. What 95 % of these differences stay within
//! is the expanded uncertainty; the bias is in it.
//!
//! Cells of the encoder: a carriage at rest stands anywhere in its cell. Approaches that scatter by less than a cell then
//! share one error, which no number of them averages out, and their scatter is hidden. So a trial puts each target anywhere
//! in a cell, and looks at each approach through the cells; the scatter that it starts from is the one that explains the
//! observed one through cells, not the observed one itself.

use super::approaches::Approached;
use super::parameters::{Parameter, Series, Target};
use super::rounding;
use crate::stats::COVERAGE;
use crate::stats::monte_carlo::Draw;

/// Trials; the 95 % quantile of so many is good to 0.7 % of coverage.
const TRIALS: usize = 1000;
/// Noise alone makes the variance of four values larger than expected by this factor three times in a thousand (χ² with three
/// degrees of freedom).
const DIFFERENT: f64 = 4.6;
/// A scatter below this part of a cell shows so seldom that any smaller one would look the same.
const HIDDEN: f64 = 0.25;
/// Every evaluation draws the same numbers, so that a stored run gives the same record for ever.
const SEED: u64 = 230;

/// What is believed of the axis: places in encoder edges.
pub(super) struct Axis {
    /// Mean deviation and number of approaches, up and down, of each target.
    targets: Vec<[(f64, usize); 2]>,
    /// Variance inside a series, pooled.
    variance: f64,
    /// For how many degrees of freedom that is good.
    freedom: f64,
    /// For how many degrees of freedom that is good, where cells hide most of the scatter.
    betrayed: Option<f64>,
    scatters: rounding::Scatters,
}

impl Axis {
    pub fn of(approached: &[Approached]) -> Self {
        let (mut squares, mut freedom, mut beside) = (0.0, 0.0, 0);
        for series in approached.iter().flat_map(|target| [&target.up, &target.down]) {
            let deviation = Series::of(series).map_or(0.0, |series| series.deviation);
            let degrees = series.len() as f64 - 1.0;
            squares += deviation * deviation * degrees;
            freedom += degrees;
            beside += beside_the_most(series);
        }
        let count = freedom + 2.0 * approached.len() as f64;
        // Where all approaches of all targets ended in one cell each, the next one might not have.
        let variance = (squares / freedom).max(1.0 / count);
        // A scatter that few of them betray is known no better than their number is: k of rare events to 1/√k.
        let known = 2.0 * beside.max(1) as f64;
        let betrayed = (known < freedom).then_some(known);
        let scatters = rounding::Scatters::new();
        let means = approached.iter().map(|target| (mean(&target.up), mean(&target.down)));
        let sizes = approached.iter().map(|target| (target.up.len(), target.down.len()));
        let per_series = 2.0 * approached.len() as f64 / count;
        let noise = variance * per_series + scatters.hidden(variance);
        let middles = towards_their_mean(means.clone().map(|(up, down)| f64::midpoint(up, down)), 0.5 * noise);
        let reversals = towards_their_mean(means.map(|(up, down)| up - down), 2.0 * noise);
        let targets = middles
            .into_iter()
            .zip(reversals)
            .zip(sizes)
            .map(|((middle, reversal), (up, down))| [(middle + 0.5 * reversal, up), (middle - 0.5 * reversal, down)])
            .collect();
        Self { targets, variance, freedom, betrayed, scatters }
    }

    /// Expanded uncertainty of a parameter in edges: of scatter alone, and with the encoder's cells.
    pub fn expanded(&self, parameter: Parameter) -> [f64; 2] {
        let mut draw = Draw::new(SEED);
        let trials: Vec<[f64; 2]> = (0..TRIALS).map(|_| self.trial(parameter, &mut draw)).collect();
        [0, 1].map(|which| {
            let mut differences: Vec<f64> = trials.iter().map(|trial| trial[which]).collect();
            let rank = (COVERAGE * TRIALS as f64) as usize;
            *differences.select_nth_unstable_by(rank, f64::total_cmp).1
        })
    }

    /// How far the parameter comes out from what it is, without cells and through them.
    fn trial(&self, parameter: Parameter, draw: &mut Draw) -> [f64; 2] {
        // A scatter that few approaches betray is in doubt itself, and so is one from which means come. Where all approaches
        // show it and the parameter holds it, it is not drawn anew: a set that scatters more also has the larger parameter,
        // and what that covers would be counted twice.
        let freedom = self.betrayed.or(parameter.is_of_means().then_some(self.freedom));
        let squares = freedom.map_or(1.0, |freedom| draw.chi_squared(freedom) / freedom);
        let scatter = self.scatters.behind(self.variance / squares);
        let mut truth = Vec::with_capacity(self.targets.len());
        let mut seen = [Vec::with_capacity(self.targets.len()), Vec::with_capacity(self.targets.len())];
        for [(up, ups), (down, downs)] in self.targets.iter().copied() {
            let exactly = |mean| Series { mean, deviation: scatter };
            truth.push(Target { up: exactly(up), down: exactly(down) });
            let (ups, downs) = (series(up, scatter, ups, draw), series(down, scatter, downs, draw));
            for (seen, (up, down)) in seen.iter_mut().zip(ups.into_iter().zip(downs)) {
                seen.push(Target { up, down });
            }
        }
        let is = parameter.of(&truth);
        let [alone, through] = seen.map(|seen| parameter.of(&seen));
        let hidden = if scatter < HIDDEN { still(&truth, parameter) } else { is };
        [(alone - is).abs(), (through - is).abs().max((through - hidden).abs())]
    }
}

/// What a parameter is where nothing scatters.
fn still(truth: &[Target], parameter: Parameter) -> f64 {
    let still = |series: Series| Series { deviation: 0.0, ..series };
    let targets: Vec<Target> =
        truth.iter().map(|target| Target { up: still(target.up), down: still(target.down) }).collect();
    parameter.of(&targets)
}

/// So many approaches to a place, as they were and as they are seen through cells.
fn series(mean: f64, scatter: f64, count: usize, draw: &mut Draw) -> [Series; 2] {
    let place = draw.fraction();
    let (mut sums, mut squares) = ([0.0; 2], [0.0; 2]);
    for _ in 0..count {
        let off = scatter * draw.normal();
        for (which, off) in [off, (place + off).floor() + 0.5 - place].into_iter().enumerate() {
            sums[which] += off;
            squares[which] += off * off;
        }
    }
    let count = count as f64;
    [0, 1].map(|which| {
        let (sum, squares): (f64, f64) = (sums[which], squares[which]);
        let variance = ((squares - sum * sum / count) / (count - 1.0)).max(0.0);
        Series { mean: mean + sum / count, deviation: variance.sqrt() }
    })
}

/// How many approaches did not end in the cell in which most of their series did.
fn beside_the_most(series: &[f64]) -> usize {
    let alike = |one: &f64| series.iter().filter(|other| (*one - **other).abs() < 0.5).count();
    series.len() - series.iter().map(alike).max().unwrap_or(0)
}

/// Values moved towards their mean as far as noise of this variance spread them; all the way where noise alone may have.
fn towards_their_mean(values: impl Iterator<Item = f64>, noise: f64) -> Vec<f64> {
    let values: Vec<f64> = values.collect();
    let centre = mean(&values);
    let variance = Series::of(&values).map_or(0.0, |series| series.deviation.powi(2));
    let kept = if variance > DIFFERENT * noise { 1.0 - noise / variance } else { 0.0 };
    values.iter().map(|value| centre + kept * (value - centre)).collect()
}

fn mean(values: &[f64]) -> f64 {
    crate::stats::summary::mean(values).unwrap_or(0.0)
}
