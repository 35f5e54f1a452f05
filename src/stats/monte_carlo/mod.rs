//! Propagation of distributions (JCGM 101:2008): what is believed of a value whose inputs are drawn from what is believed of
//! them, as often as it takes. It holds where a budget does not: where the value bends with its inputs, or is not spread as
//! Student's t is.
//!
//! The draws come from a seed that is handed in, so that a capture judged again gives the same record to the byte.

mod draw;
mod drawn;

pub use draw::Draw;
pub use drawn::Drawn;

use super::{Estimate, summary};

/// How far a propagation goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effort {
    /// Coverage probability of the intervals.
    pub probability: f64,
    /// Digits of the standard uncertainty that have to be right; one or two.
    pub digits: i32,
    /// The most draws.
    pub draws_max: usize,
}

/// Draws of one block: as many as JCGM 101:2008, 7.9.4 b) wants, at least.
const BLOCK_MIN: usize = 10_000;

/// A propagated distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated {
    /// Mean of the draws: the estimate (7.6).
    pub mean: f64,
    /// Their standard deviation: the standard uncertainty (7.6).
    pub standard_uncertainty: f64,
    /// The interval that leaves as much below as above it (7.7.2, and 5.3.3 of its definition).
    pub symmetric: (f64, f64),
    /// The shortest interval (5.3.4).
    pub shortest: (f64, f64),
    /// How much the last of the wanted digits leaves open (7.9.2).
    pub tolerance: f64,
    /// Whether mean, uncertainty and both limits settled to within the tolerance before the draws ran out (7.9.4).
    pub settled: bool,
    sorted: Vec<f64>,
}

/// Propagates what `model` makes of each draw, by the adaptive procedure of JCGM 101:2008, 7.9.4. `None` where a draw gives
/// what is no finite number: then the model cannot tell what is believed.
pub fn propagate(seed: u64, effort: Effort, mut model: impl FnMut(&mut Draw) -> f64) -> Option<Propagated> {
    let block = BLOCK_MIN.max((100.0 / (1.0 - effort.probability)).ceil() as usize);
    let mut draw = Draw::new(seed);
    let (mut all, mut blocks) = (Vec::new(), Blocks::default());
    loop {
        let mut values: Vec<f64> = (0..block).map(|_| model(&mut draw)).collect();
        if values.iter().any(|value| !value.is_finite()) {
            return None;
        }
        blocks.take(&mut values, effort.probability);
        all.append(&mut values);
        let tolerance = tolerance(summary::standard_deviation(&all)?, effort.digits);
        let settled = blocks.are_settled(tolerance);
        if settled || all.len() + block > effort.draws_max {
            return Propagated::of(all, effort.probability, tolerance, settled);
        }
    }
}

impl Propagated {
    fn of(mut all: Vec<f64>, probability: f64, tolerance: f64, settled: bool) -> Option<Self> {
        let (mean, standard_uncertainty) = (summary::mean(&all)?, summary::standard_deviation(&all)?);
        // The blocks are in order already, which a stable sort makes use of.
        all.sort_by(f64::total_cmp);
        let (symmetric, shortest) = (symmetric(&all, probability), shortest(&all, probability));
        Some(Self { mean, standard_uncertainty, symmetric, shortest, tolerance, settled, sorted: all })
    }

    /// How many draws there were.
    pub fn draws(&self) -> usize {
        self.sorted.len()
    }

    /// Whether an interval from elsewhere, as that of a budget, is the same but for the tolerance (JCGM 101:2008, 8.1).
    pub fn confirms(&self, (lower, upper): (f64, f64)) -> bool {
        (lower - self.symmetric.0).abs() <= self.tolerance && (upper - self.symmetric.1).abs() <= self.tolerance
    }

    /// The draws about a value.
    pub fn about(&self, value: f64) -> Drawn {
        Drawn::new(self.sorted.iter().map(|drawn| drawn - value).collect())
    }
}

impl Estimate {
    /// Leaves the estimate as it is where the propagated distribution confirms its interval; otherwise takes the draws in
    /// place of Student's t. The value stays, and so does its budget, which says where the doubt comes from.
    pub fn confirmed_or_replaced(mut self, propagated: Option<&Propagated>, probability: f64) -> Self {
        let expanded = self.expanded_uncertainty(probability);
        let interval = (self.value - expanded, self.value + expanded);
        if let Some(propagated) = propagated.filter(|propagated| !propagated.confirms(interval)) {
            self.drawn = Some(propagated.about(self.value));
        }
        self
    }
}

/// Results of each block, of which the scatter tells how far they are settled.
#[derive(Default)]
struct Blocks {
    results: [Vec<f64>; 4],
}

impl Blocks {
    fn take(&mut self, values: &mut [f64], probability: f64) {
        let (mean, deviation) = (summary::mean(values), summary::standard_deviation(values));
        values.sort_unstable_by(f64::total_cmp);
        let (low, high) = symmetric(values, probability);
        for (list, result) in self.results.iter_mut().zip([mean, deviation, Some(low), Some(high)]) {
            list.extend(result);
        }
    }

    /// Whether twice the standard deviation of each mean lies within the tolerance (7.9.4 g and i).
    fn are_settled(&self, tolerance: f64) -> bool {
        self.results.iter().all(|list| {
            let scatter = summary::standard_deviation(list);
            scatter.is_some_and(|scatter| 2.0 * scatter / (list.len() as f64).sqrt() <= tolerance)
        })
    }
}

/// Half of a unit in the last of so many significant digits of an uncertainty (JCGM 101:2008, 7.9.2).
fn tolerance(uncertainty: f64, digits: i32) -> f64 {
    if uncertainty <= 0.0 {
        return 0.0;
    }
    let unit = |uncertainty: f64| libm::pow(10.0, libm::floor(libm::log10(uncertainty)) - f64::from(digits - 1));
    // 0.0996 to one digit is 0.1, not 0.10.
    let rounded = (uncertainty / unit(uncertainty)).round() * unit(uncertainty);
    0.5 * unit(rounded * (1.0 + 1e-12))
}

/// How many places lie between the ends of an interval (JCGM 101:2008, 7.7.2).
fn places(count: usize, probability: f64) -> usize {
    ((probability * count as f64 + 0.5) as usize).min(count - 1)
}

fn symmetric(sorted: &[f64], probability: f64) -> (f64, f64) {
    let between = places(sorted.len(), probability);
    let below = (sorted.len() - between).div_ceil(2).max(1) - 1;
    (sorted[below], sorted[below + between])
}

fn shortest(sorted: &[f64], probability: f64) -> (f64, f64) {
    let between = places(sorted.len(), probability);
    let intervals = (0..sorted.len() - between).map(|below| (sorted[below], sorted[below + between]));
    intervals.min_by(|one, other| (one.1 - one.0).total_cmp(&(other.1 - other.0))).unwrap_or((f64::NAN, f64::NAN))
}

#[cfg(test)]
mod tests {
    use super::*;

    const EFFORT: Effort = Effort { probability: 0.95, digits: 2, draws_max: 200_000 };

    #[test]
    fn tolerances_are_half_a_unit_of_the_last_digit() {
        for (uncertainty, digits, expected) in [
            (0.0754, 1, 0.005),
            (0.0754, 2, 0.0005),
            (2.0, 1, 0.5),
            (10.1, 2, 0.5),
            (0.0997, 1, 0.05),
            (50e-6, 1, 5e-6),
        ] {
            let found = tolerance(uncertainty, digits);
            assert!((found - expected).abs() < 1e-9 * expected, "{uncertainty}: {found}");
        }
        assert_eq!(tolerance(0.0, 1), 0.0);
    }

    #[test]
    fn one_seed_gives_the_same_draws_and_another_does_not() {
        let run = |seed| propagate(seed, EFFORT, Draw::normal).expect("finite");
        assert_eq!(run(1), run(1));
        assert_ne!(run(1).mean, run(2).mean);
    }

    #[test]
    fn what_cannot_settle_ends_unsettled() {
        let effort = Effort { draws_max: 30_000, ..EFFORT };
        let ratio = propagate(1, effort, |draw| draw.normal() / draw.normal()).expect("finite");
        assert_eq!((ratio.settled, ratio.draws()), (false, 30_000));
        assert!(propagate(1, EFFORT, |draw| draw.normal().sqrt()).is_none(), "a root of less than nothing");
        let nothing = propagate(1, EFFORT, |_| 3.0).expect("finite");
        assert_eq!((nothing.standard_uncertainty, nothing.symmetric, nothing.settled), (0.0, (3.0, 3.0), true));
    }

    #[test]
    fn a_straight_model_is_confirmed_and_a_bent_one_replaced() {
        let inputs = Estimate::of(1.0).with("calibration", 0.3);
        let straight = propagate(1, EFFORT, |draw| 1.0 + 0.3 * draw.normal()).expect("finite");
        let kept = inputs.clone().confirmed_or_replaced(Some(&Propagated { tolerance: 0.01, ..straight }), 0.95);
        assert_eq!(kept, inputs);
        let bent = propagate(1, EFFORT, |draw| libm::exp(0.3 * draw.normal())).expect("finite");
        let replaced = inputs.confirmed_or_replaced(Some(&bent), 0.95);
        let spread = replaced.spread();
        assert!((spread.one_sided_quantile(0.975) - (libm::exp(0.3 * 1.96) - 1.0)).abs() < 0.02);
        assert!((spread.one_sided_quantile(0.025) - (libm::exp(-0.3 * 1.96) - 1.0)).abs() < 0.01);
    }
}
