//! What ISO 230-2:2014 makes of the deviations at the targets of an axis. ↑ is an approach towards the right, ↓ one
//! towards the left.

use crate::stats::summary;

/// The approaches to a target from one side: mean deviation, and standard deviation with n − 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Series {
    pub mean: f64,
    pub deviation: f64,
}

impl Series {
    /// Of these deviations; nothing of fewer than two.
    pub fn of(deviations: &[f64]) -> Option<Self> {
        Some(Self { mean: summary::mean(deviations)?, deviation: summary::standard_deviation(deviations)? })
    }
}

/// A target, approached from both sides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Target {
    pub up: Series,
    pub down: Series,
}

impl Target {
    /// B_i = x̄_i↑ − x̄_i↓.
    pub fn reversal(&self) -> f64 {
        self.up.mean - self.down.mean
    }

    /// x̄_i, the mean of both ways.
    pub fn middle(&self) -> f64 {
        f64::midpoint(self.up.mean, self.down.mean)
    }

    fn series(&self, ways: Ways) -> impl Iterator<Item = Series> + use<> {
        let up = (ways != Ways::Down).then_some(self.up);
        up.into_iter().chain((ways != Ways::Up).then_some(self.down))
    }

    /// R_i↑ = 4 s_i↑, R_i↓ = 4 s_i↓ and R_i, the largest of these and of 2 s_i↑ + 2 s_i↓ + |B_i|.
    fn repeatability(&self, ways: Ways) -> f64 {
        let own = self.series(ways).map(|series| 4.0 * series.deviation).fold(0.0, f64::max);
        let across = 2.0 * self.up.deviation + 2.0 * self.down.deviation + self.reversal().abs();
        if ways == Ways::Both { own.max(across) } else { own }
    }
}

/// From which side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ways {
    Up,
    Down,
    Both,
}

/// A parameter of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Parameter {
    /// A↑, A↓, A.
    Accuracy(Ways),
    /// R↑, R↓, R.
    Repeatability(Ways),
    /// E↑, E↓, E.
    Systematic(Ways),
    /// B.
    Reversal,
    /// B̄.
    MeanReversal,
    /// M.
    MeanDeviation,
}

impl Parameter {
    /// Whether it is made of the means alone, which know nothing of the scatter around them.
    pub fn is_of_means(self) -> bool {
        !matches!(self, Self::Accuracy(_) | Self::Repeatability(_))
    }

    /// Of some targets; 0 of none.
    pub fn of(self, targets: &[Target]) -> f64 {
        match self {
            Self::Accuracy(ways) => {
                let all = || targets.iter().flat_map(|target| target.series(ways));
                let high = all().map(|series| series.mean + 2.0 * series.deviation).fold(f64::NEG_INFINITY, f64::max);
                let low = all().map(|series| series.mean - 2.0 * series.deviation).fold(f64::INFINITY, f64::min);
                (high - low).max(0.0)
            }
            Self::Repeatability(ways) => targets.iter().map(|target| target.repeatability(ways)).fold(0.0, f64::max),
            Self::Systematic(ways) => range(targets.iter().flat_map(|target| target.series(ways)).map(|s| s.mean)),
            Self::Reversal => targets.iter().map(|target| target.reversal().abs()).fold(0.0, f64::max),
            Self::MeanReversal => targets.iter().map(Target::reversal).sum::<f64>() / targets.len().max(1) as f64,
            Self::MeanDeviation => range(targets.iter().map(Target::middle)),
        }
    }
}

fn range(values: impl Iterator<Item = f64>) -> f64 {
    let (low, high) =
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (f64::min(low, x), f64::max(high, x)));
    (high - low).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use Ways::{Both, Down, Up};

    /// All parameters in the order A↑ A↓ A, R↑ R↓ R, E↑ E↓ E, B, B̄, M.
    fn all(targets: &[Target]) -> [f64; 12] {
        use Parameter::*;
        [
            Accuracy(Up),
            Accuracy(Down),
            Accuracy(Both),
            Repeatability(Up),
            Repeatability(Down),
            Repeatability(Both),
            Systematic(Up),
            Systematic(Down),
            Systematic(Both),
            Reversal,
            MeanReversal,
            MeanDeviation,
        ]
        .map(|parameter| parameter.of(targets))
    }

    fn target(up: &[f64], down: &[f64]) -> Target {
        Target { up: Series::of(up).expect("approaches"), down: Series::of(down).expect("approaches") }
    }

    fn assert_near(found: [f64; 12], expected: [f64; 12], within: f64) {
        for (index, (found, expected)) in found.into_iter().zip(expected).enumerate() {
            assert!((found - expected).abs() < within, "parameter {index}: {found} against {expected}");
        }
    }

    // Outside: ISO 230-2 parameters of a set whose every standard deviation is 1, by hand and by numpy; how: closed form
    #[test]
    fn a_set_that_comes_out_in_whole_numbers() {
        let set = |up: f64, down: f64| {
            let about = |centre: f64| [-1.0, -1.0, 1.0, 1.0, 0.0].map(|off| centre + off);
            target(&about(up), &about(down))
        };
        let targets = [set(10.0, 5.0), set(20.0, 14.0), set(30.0, 26.0)];
        let expected = [24.0, 25.0, 29.0, 4.0, 4.0, 10.0, 20.0, 21.0, 25.0, 6.0, 5.0, 20.5];
        assert_near(all(&targets), expected, 1e-12);
    }

    // Outside: ISO 230-2 parameters of 5 targets, 5 approaches each way (tests/data/iso230_2.csv, a constructed set); how: package numpy 2.4.6
    #[test]
    fn a_table_of_five_targets() {
        let text = include_str!("../../../tests/data/iso230_2.csv");
        let rows: Vec<(i32, &str, f64)> = text
            .lines()
            .skip(1)
            .map(|line| line.split(',').collect::<Vec<_>>())
            .map(|row| (row[0].parse().expect("a place"), row[1], row[3].parse().expect("a deviation")))
            .collect();
        let of = |place: i32, way: &str| -> Vec<f64> {
            rows.iter().filter(|row| (row.0, row.1) == (place, way)).map(|row| row.2).collect()
        };
        let targets = [0, 100, 200, 300, 400].map(|place| target(&of(place, "up"), &of(place, "down")));
        let expected = [
            44.293_977_889_8,
            48.514_220_181,
            87.024_652_448_1,
            5.720_139_858_4,
            6.899_275_324_3,
            46.640_055_602_5,
            39.5,
            42.4,
            81.5,
            42.2,
            40.66,
            40.95,
        ];
        assert_near(all(&targets), expected, 1e-8);
    }
}
