//! Control charts: limits that chance alone rarely leaves, and rules that find what is no chance (ISO 7870-2).

use super::summary::{mean, standard_deviation};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};
use statrs::function::gamma::ln_gamma;

/// Limits of individual values lie so many mean moving ranges from the centre: 3/d₂ of two values, d₂ = 1.128 (ISO 7870-2).
pub const INDIVIDUALS: f64 = 2.660;
/// So many values in a row on one side of the centre are no chance: one in 128 such rows (Western Electric, Statistical
/// Quality Control Handbook, 1956, tests for unnatural patterns).
const RUN: usize = 8;
/// So many values in a row that rise or fall (Nelson, The Shewhart control chart: tests for special causes, 1984).
const TREND: usize = 6;
/// Most values in a subgroup.
pub const SUBGROUP_MAX: usize = 25;

/// Centre and control limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    pub lower: f64,
    pub centre: f64,
    pub upper: f64,
}

/// Something that is no chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Signal {
    /// The value that shows it, counted from 0.
    pub at: usize,
    /// By which rule.
    pub rule: SignalRule,
}

/// A rule that finds what is no chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignalRule {
    /// A value beyond the control limits.
    BeyondLimits,
    /// Two of three in a row beyond two thirds of the way to the same limit.
    TwoOfThree,
    /// Four of five in a row beyond one third of the way to the same limit.
    FourOfFive,
    /// Eight values in a row on one side of the centre, or more.
    OneSide,
    /// Six in a row that rise, or fall.
    Trend,
}

impl SignalRule {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::BeyondLimits, Self::TwoOfThree, Self::FourOfFive, Self::OneSide, Self::Trend];

    /// In words, with its source.
    pub const fn words(self) -> &'static str {
        match self {
            Self::BeyondLimits => "beyond the control limits (ISO 7870-2)",
            Self::TwoOfThree => "two of three beyond two thirds of a limit (Western Electric 1956)",
            Self::FourOfFive => "four of five beyond one third of a limit (Western Electric 1956)",
            Self::OneSide => "eight in a row on one side of the centre (Western Electric 1956)",
            Self::Trend => "six in a row that rise or fall (Nelson 1984)",
        }
    }
}

/// Distances between neighbours.
pub fn moving_ranges(values: &[f64]) -> Vec<f64> {
    values.windows(2).map(|pair| (pair[1] - pair[0]).abs()).collect()
}

/// Limits of individual values, by their mean moving range; none of fewer than two.
pub fn individuals(values: &[f64]) -> Option<Limits> {
    let centre = mean(values)?;
    let away = INDIVIDUALS * mean(&moving_ranges(values))?;
    Some(Limits { lower: centre - away, centre, upper: centre + away })
}

/// Whether two numbers differ by rounding alone: values that are all alike have no range, and a mean that may be rounded.
fn is_same(one: f64, other: f64) -> bool {
    (one - other).abs() <= 1e-12 * one.abs().max(other.abs())
}

/// What the rules find, oldest first.
pub fn signals(values: &[f64], limits: &Limits, rules: &[SignalRule]) -> Vec<Signal> {
    let mut signals = Vec::new();
    let (mut side, mut row) = (0.0, 0);
    let (mut direction, mut steps) = (0.0, 0);
    let zone = |value: f64| {
        if is_same(value, limits.centre) { 0.0 } else { 3.0 * (value - limits.centre) / (limits.upper - limits.centre) }
    };
    let of_last = |at: usize, last: usize, beyond: f64| {
        let from = (at + 1).saturating_sub(last);
        let here = zone(values[at]);
        here.abs() > beyond
            && values[from..=at].iter().filter(|value| zone(**value) * here.signum() > beyond).count() + 1 >= last
            && at + 1 >= last
    };
    for (at, value) in values.iter().enumerate() {
        let beyond = *value < limits.lower && !is_same(*value, limits.lower)
            || *value > limits.upper && !is_same(*value, limits.upper);
        let here = if is_same(*value, limits.centre) { 0.0 } else { (value - limits.centre).signum() };
        row = if here != 0.0 && here == side { row + 1 } else { usize::from(here != 0.0) };
        side = here;
        let step = if at == 0 || is_same(*value, values[at - 1]) { 0.0 } else { (value - values[at - 1]).signum() };
        steps = if step != 0.0 && step == direction { steps + 1 } else { usize::from(step != 0.0) };
        direction = step;
        for rule in rules {
            let shows = match rule {
                SignalRule::BeyondLimits => beyond,
                SignalRule::TwoOfThree => of_last(at, 3, 2.0),
                SignalRule::FourOfFive => of_last(at, 5, 1.0),
                SignalRule::OneSide => row >= RUN,
                SignalRule::Trend => steps + 1 >= TREND,
            };
            if shows {
                signals.push(Signal { at, rule: *rule });
            }
        }
    }
    signals
}

/// What turns ranges and standard deviations of subgroups of so many values into limits (ISO 7870-2, table of factors).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factors {
    /// Mean and standard deviation of the range of normal values of deviation 1.
    pub d2: f64,
    pub d3: f64,
    /// Mean of their standard deviation.
    pub c4: f64,
}

impl Factors {
    /// Of subgroups of `size`; none outside 2 to [`SUBGROUP_MAX`].
    pub fn of(size: usize) -> Option<Self> {
        if !(2..=SUBGROUP_MAX).contains(&size) {
            return None;
        }
        let n = size as f64;
        // The range exceeds w with this probability; the sum over the whole line is as good as exact.
        let exceeds = |w: f64| {
            let normal = Normal::standard();
            let step = 0.05;
            let part = |place: i32| {
                let x = f64::from(place) * step;
                normal.pdf(x) * (normal.cdf(x + w) - normal.cdf(x)).powf(n - 1.0)
            };
            1.0 - n * step * (-240..=160).map(part).sum::<f64>()
        };
        // Simpson's rule over 0 to 14.
        let (parts, step) = (280, 0.05);
        let (mut first, mut second) = (0.0, 0.0);
        for place in 0..=parts {
            let w = f64::from(place) * step;
            let weight = if place == 0 || place == parts {
                1.0
            } else if place % 2 == 1 {
                4.0
            } else {
                2.0
            };
            let share = weight * step / 3.0 * exceeds(w);
            first += share;
            second += 2.0 * w * share;
        }
        let c4 = (2.0 / (n - 1.0)).sqrt() * (ln_gamma(0.5 * n) - ln_gamma(0.5 * (n - 1.0))).exp();
        Some(Self { d2: first, d3: (second - first * first).sqrt(), c4 })
    }

    /// A₂: limits of means lie so many mean ranges from the centre.
    pub fn a2(&self, size: usize) -> f64 {
        3.0 / (self.d2 * (size as f64).sqrt())
    }

    /// A₃: the same in mean standard deviations.
    pub fn a3(&self, size: usize) -> f64 {
        3.0 / (self.c4 * (size as f64).sqrt())
    }

    /// D₃ and D₄: limits of ranges in mean ranges.
    pub fn d(&self) -> (f64, f64) {
        let away = 3.0 * self.d3 / self.d2;
        ((1.0 - away).max(0.0), 1.0 + away)
    }

    /// B₃ and B₄: limits of standard deviations in mean standard deviations.
    pub fn b(&self) -> (f64, f64) {
        let away = 3.0 * (1.0 - self.c4 * self.c4).max(0.0).sqrt() / self.c4;
        ((1.0 - away).max(0.0), 1.0 + away)
    }
}

/// The charts of subgroups of one size.
#[derive(Debug, Clone, PartialEq)]
pub struct Subgrouped {
    pub size: usize,
    pub means: Vec<f64>,
    pub ranges: Vec<f64>,
    pub deviations: Vec<f64>,
    /// Limits of the means by the mean range (Xbar-R), and of the ranges.
    pub by_range: (Limits, Limits),
    /// Limits of the means by the mean standard deviation (Xbar-S), and of the standard deviations.
    pub by_deviation: (Limits, Limits),
    /// Standard deviation within subgroups, by the mean range.
    pub within: f64,
}

impl Subgrouped {
    /// Of subgroups; none unless there are two or more of one size from 2 to [`SUBGROUP_MAX`].
    pub fn of(subgroups: &[Vec<f64>]) -> Option<Self> {
        let size = subgroups.first()?.len();
        let factors =
            Factors::of(size).filter(|_| subgroups.len() > 1 && subgroups.iter().all(|one| one.len() == size))?;
        let means: Vec<f64> = subgroups.iter().filter_map(|values| mean(values)).collect();
        let range = |values: &Vec<f64>| {
            let bounds =
                values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (v.min(low), v.max(high)));
            bounds.1 - bounds.0
        };
        let ranges: Vec<f64> = subgroups.iter().map(range).collect();
        let deviations: Vec<f64> = subgroups.iter().filter_map(|values| standard_deviation(values)).collect();
        let (centre, mean_range, mean_deviation) = (mean(&means)?, mean(&ranges)?, mean(&deviations)?);
        let about = |away: f64| Limits { lower: centre - away, centre, upper: centre + away };
        let of = |centre: f64, (low, high): (f64, f64)| Limits { lower: low * centre, centre, upper: high * centre };
        Some(Self {
            size,
            by_range: (about(factors.a2(size) * mean_range), of(mean_range, factors.d())),
            by_deviation: (about(factors.a3(size) * mean_deviation), of(mean_deviation, factors.b())),
            within: mean_range / factors.d2,
            means,
            ranges,
            deviations,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // Outside: ISO 7870-2 table of factors (d₂, d₃, c₄, A₂, D₃, D₄, A₃, B₃, B₄) for 3, 5, 10 and 25 values, 4 decimals; how: from memory
    #[test]
    fn factors_to_four_decimals() {
        let known = [
            (3, [1.6926, 0.8884, 0.8862, 1.0233, 0.0, 2.5746, 1.9544, 0.0, 2.5682]),
            (5, [2.3259, 0.8641, 0.9400, 0.5768, 0.0, 2.1145, 1.4273, 0.0, 2.0890]),
            (10, [3.0775, 0.7971, 0.9727, 0.3083, 0.2230, 1.7770, 0.9754, 0.2837, 1.7163]),
            (25, [3.9306, 0.7084, 0.9896, 0.1526, 0.4593, 1.5407, 0.6063, 0.5648, 1.4352]),
        ];
        for (size, [d2, d3, c4, a2, low_d, high_d, a3, low_b, high_b]) in known {
            let factors = Factors::of(size).expect("a subgroup");
            let (d, b) = (factors.d(), factors.b());
            let found = [factors.d2, factors.d3, factors.c4, factors.a2(size), d.0, d.1, factors.a3(size), b.0, b.1];
            for (found, known) in found.into_iter().zip([d2, d3, c4, a2, low_d, high_d, a3, low_b, high_b]) {
                assert!((found - known).abs() < 1.1e-4, "{size}: {found} {known}");
            }
        }
        assert_eq!((Factors::of(1), Factors::of(26)), (None, None));
    }

    #[test]
    fn each_rule_finds_its_pattern_and_no_other() {
        let limits = Limits { lower: -3.0, centre: 0.0, upper: 3.0 };
        for (rule, values, at) in [
            (SignalRule::BeyondLimits, &[0.5, 3.1][..], 1),
            (SignalRule::TwoOfThree, &[2.5, -0.5, 2.5], 2),
            (SignalRule::FourOfFive, &[1.5, 1.2, -0.5, 1.3, 1.1], 4),
            (SignalRule::OneSide, &[0.5, 0.6, 0.5, 0.7, 0.5, 0.4, 0.6, 0.5], 7),
            (SignalRule::Trend, &[-0.9, -0.6, -0.3, 0.1, 0.4, 0.7], 5),
        ] {
            assert_eq!(signals(values, &limits, &SignalRule::ALL), [Signal { at, rule }], "{values:?}");
        }
        let flat = Limits { lower: 1.0, centre: 1.0, upper: 1.0 };
        assert_eq!(signals(&[1.0; 30], &flat, &SignalRule::ALL), []);
    }

    #[test]
    fn subgroups_need_one_size() {
        let charts = Subgrouped::of(&[vec![1.0, 3.0], vec![2.0, 4.0]]).expect("two of two");
        assert_eq!((charts.means, charts.ranges), (vec![2.0, 3.0], vec![2.0, 2.0]));
        assert!((charts.within - 2.0 / std::f64::consts::FRAC_2_SQRT_PI).abs() < 1e-5);
        assert_eq!(Subgrouped::of(&[vec![1.0, 3.0], vec![2.0]]), None);
        assert_eq!(Subgrouped::of(&[vec![1.0, 3.0]]), None);
    }
}
