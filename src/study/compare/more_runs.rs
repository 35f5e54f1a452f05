//! How many more runs would tell, if what was seen so far is how things are.

use super::Design;
use crate::stats::student;

/// How likely the runs are to tell, if things are as they look.
const POWER: f64 = 0.8;
/// More than this nobody runs.
const MOST: usize = 10_000;

/// How many more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MoreRuns {
    /// So many on each side, or so many pairs.
    About(usize),
    /// More than anybody would.
    TooMany,
}

/// What is known of a quantity that cannot be told yet.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    pub design: Design,
    /// Values on the smaller side, or pairs.
    pub count: usize,
    pub difference: f64,
    /// Variance of one value of either side together, or of one pair's difference.
    pub variance: f64,
    pub margin: Option<f64>,
    /// Probability at which a difference counts as proven.
    pub proof: f64,
    /// Probability at which equivalence does.
    pub risk: f64,
}

impl Known {
    /// The least number that proves either a difference or, within a margin, that there is none that matters.
    pub fn more_runs(&self) -> MoreRuns {
        let proves = |count: usize| {
            let freedom = if self.design == Design::Pairs { count - 1 } else { 2 * (count - 1) } as f64;
            let error = (self.variance / count as f64).sqrt();
            let least = |probability: f64| {
                error
                    * (student::one_sided_quantile(1.0 - probability, freedom)
                        + student::one_sided_quantile(POWER, freedom))
            };
            let differs = self.difference.abs() >= least(0.5 * self.proof);
            differs || self.margin.is_some_and(|margin| margin - self.difference.abs() >= least(self.risk))
        };
        let (mut below, mut above) = (self.count.max(2), self.count.max(2) + 1);
        while !proves(above) {
            (below, above) = (above, 2 * above);
            if above > 2 * MOST {
                return MoreRuns::TooMany;
            }
        }
        while above - below > 1 {
            let middle = below.midpoint(above);
            if proves(middle) { above = middle } else { below = middle }
        }
        if above > MOST { MoreRuns::TooMany } else { MoreRuns::About(above - self.count) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two samples, true difference one standard deviation, 5 % two-sided, 80 %: 17 a side.
    // Outside: 17 a side for a difference of one standard deviation (Cohen, Statistical Power Analysis, 1988); how: from memory
    #[test]
    fn a_textbook_case() {
        let known = Known {
            design: Design::Units,
            count: 5,
            difference: 1.0,
            variance: 2.0,
            margin: None,
            proof: 0.05,
            risk: 0.05,
        };
        assert_eq!(known.more_runs(), MoreRuns::About(12));
        assert_eq!(Known { difference: 1e-6, ..known }.more_runs(), MoreRuns::TooMany);
        let equivalent = Known { difference: 0.0, margin: Some(1.0), ..known };
        assert!(matches!(equivalent.more_runs(), MoreRuns::About(8..12)), "{:?}", equivalent.more_runs());
    }
}
