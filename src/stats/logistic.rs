//! How the probability of a yes rises along a line: logistic regression on one variable, with Firth's penalty, so that there is
//! an answer where all noes lie below all yeses, too. Firth, Biometrika 80 (1993) 27–38; Heinze and Schemper, Statistics in
//! Medicine 21 (2002) 2409–2419.

/// logit p = at + slope · x.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Logistic {
    at: f64,
    slope: f64,
    /// Covariance of the two: of `at`, of both, of `slope`.
    covariance: [f64; 3],
}

/// Where a probability is reached, and how doubtful that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reached {
    /// The x.
    pub at: f64,
    /// Its standard uncertainty, to first order.
    pub uncertainty: f64,
}

/// Steps until nothing moves any more; far more than were ever needed.
const STEPS_MAX: usize = 200;
/// The farthest that one step may go in either number.
const STRIDE_MAX: f64 = 5.0;

impl Logistic {
    /// Fits pairs of x and answer. `None` of fewer than three, of x that are all the same or not finite, and where the
    /// fit does not settle.
    pub fn fit(answers: &[(f64, bool)]) -> Option<Self> {
        let first = answers.first()?.0;
        if answers.len() < 3 || answers.iter().all(|(x, _)| *x == first) || answers.iter().any(|(x, _)| !x.is_finite())
        {
            return None;
        }
        let (mut at, mut slope) = (0.0, 0.0);
        for _ in 0..STEPS_MAX {
            let covariance = covariance(answers, at, slope)?;
            let [aa, ab, bb] = covariance;
            let (mut score_a, mut score_b) = (0.0, 0.0);
            for &(x, yes) in answers {
                let p = probability(at + slope * x);
                let leverage = p * (1.0 - p) * (aa + 2.0 * ab * x + bb * x * x);
                let residual = f64::from(u8::from(yes)) - p + leverage * (0.5 - p);
                score_a += residual;
                score_b += residual * x;
            }
            let (step_a, step_b) = (aa * score_a + ab * score_b, ab * score_a + bb * score_b);
            let shrink = (STRIDE_MAX / step_a.abs().max(step_b.abs())).min(1.0);
            at += shrink * step_a;
            slope += shrink * step_b;
            if step_a.abs() < 1e-9 * (1.0 + at.abs()) && step_b.abs() < 1e-9 * (1.0 + slope.abs()) {
                return Some(Self { at, slope, covariance });
            }
        }
        None
    }

    /// How much the logit rises with x.
    pub const fn slope(&self) -> f64 {
        self.slope
    }

    /// Where the probability is `probability`; `None` where it does not rise with x.
    pub fn reaches(&self, probability: f64) -> Option<Reached> {
        let logit = (probability / (1.0 - probability)).ln();
        let at = (logit - self.at) / self.slope;
        let [aa, ab, bb] = self.covariance;
        let variance = (aa + 2.0 * ab * at + bb * at * at) / (self.slope * self.slope);
        (self.slope > 0.0 && at.is_finite() && variance >= 0.0).then(|| Reached { at, uncertainty: variance.sqrt() })
    }
}

fn probability(logit: f64) -> f64 {
    1.0 / (1.0 + (-logit).exp())
}

/// The inverse of Fisher's information.
fn covariance(answers: &[(f64, bool)], at: f64, slope: f64) -> Option<[f64; 3]> {
    let (mut aa, mut ab, mut bb) = (0.0, 0.0, 0.0);
    for &(x, _) in answers {
        let p = probability(at + slope * x);
        let weight = p * (1.0 - p);
        aa += weight;
        ab += weight * x;
        bb += weight * x * x;
    }
    let determinant = aa * bb - ab * ab;
    (determinant > 1e-300).then(|| [bb / determinant, -ab / determinant, aa / determinant])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answers(groups: &[(f64, usize, usize)]) -> Vec<(f64, bool)> {
        let each = |&(x, yes, no): &(f64, usize, usize)| {
            std::iter::repeat_n((x, true), yes).chain(std::iter::repeat_n((x, false), no))
        };
        groups.iter().flat_map(each).collect()
    }

    /// Of two groups the penalty is known: half an answer more of each kind in each of them.
    /// Outside: Firth's estimate of a 2 × 2 table is that with 1/2 added to each cell, Heinze and Schemper 2002; how: from memory
    #[test]
    fn two_groups_get_half_an_answer_more_of_each_kind() {
        for (yes_0, no_0, yes_1, no_1) in [(3, 7, 8, 2), (0, 10, 10, 0), (0, 4, 1, 9)] {
            let fit = Logistic::fit(&answers(&[(0.0, yes_0, no_0), (1.0, yes_1, no_1)])).expect("a fit");
            let logit = |yes: usize, no: usize| ((yes as f64 + 0.5) / (no as f64 + 0.5)).ln();
            assert!((fit.at - logit(yes_0, no_0)).abs() < 1e-6, "{fit:?}");
            assert!((fit.slope - (logit(yes_1, no_1) - logit(yes_0, no_0))).abs() < 1e-6, "{fit:?}");
        }
    }

    #[test]
    fn a_clean_cut_is_found_between_noes_and_yeses() {
        let cut: Vec<_> = (0..50).map(|k| (f64::from(k) / 50.0 + 0.01, k >= 20)).collect();
        let fit = Logistic::fit(&cut).expect("a fit");
        let (half, most) = (fit.reaches(0.5).unwrap(), fit.reaches(0.99).unwrap());
        assert!((half.at - 0.4).abs() < 0.01 && half.uncertainty < 0.03, "{half:?}");
        assert!(most.at > half.at && most.at < 0.6, "{most:?}");
    }

    #[test]
    fn what_cannot_be_told_is_not() {
        assert_eq!(Logistic::fit(&[]), None);
        assert_eq!(Logistic::fit(&answers(&[(0.5, 3, 4)])), None);
        assert_eq!(Logistic::fit(&answers(&[(f64::NAN, 3, 4), (1.0, 1, 1)])), None);
        let falling = Logistic::fit(&answers(&[(0.0, 9, 1), (1.0, 1, 9)])).expect("a fit");
        assert_eq!(falling.reaches(0.5), None);
        let level = Logistic::fit(&answers(&[(0.0, 5, 5), (1.0, 5, 5)])).expect("a fit");
        assert!(level.reaches(0.99).is_none_or(|reached| reached.at.is_finite()));
    }
}
