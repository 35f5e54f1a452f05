//! The decision rules by name: what a value must show before it counts as conforming, and before it counts as not.
//!
//! Whoever writes a plan chooses who bears the doubt of the measurement (JCGM 106:2012, clause 8; ISO 14253-1:2017, clause 5).
//! A maker who promises proves conformity; one who sends a part lot back proves nonconformity; simple acceptance shares the
//! risk, and says nothing about it.

use crate::stats::{COVERAGE, student};

/// How decisions are taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// The measured value is taken at its word: inside the tolerance it conforms, outside it does not (JCGM 106, 8.2).
    SimpleAcceptance,
    /// Conformity and nonconformity both want a distance of `factor` times the expanded uncertainty U (95 %) from the limit;
    /// in between neither is proven (JCGM 106, 8.3.2).
    GuardBand {
        /// The guard band's width in U, above 0.
        factor: f64,
    },
    /// The value conforms where the probability that it does not is at most `at_most`; beyond the limit by as much
    /// nonconformity is proven, in between neither is (JCGM 106, 8.3.2; ISO 14253-1).
    FalseAccept {
        /// Highest accepted probability that a value called conforming is not, above 0 and at most 0.5.
        at_most: f64,
    },
    /// The reverse: the value is rejected only where nonconformity is proven, and conforms otherwise (JCGM 106, 8.3.3).
    FalseReject {
        /// Highest accepted probability that a value called nonconforming does conform, above 0 and at most 0.5.
        at_most: f64,
    },
}

impl Rule {
    /// The rule for each of several looks at one value, of which any may decide, so that all of them together risk no more
    /// than this rule does with one: each look has its share of the risk (Bonferroni's inequality). A guard band has the
    /// risk of a normal distribution; simple acceptance says nothing of its own.
    pub fn shared_among(self, looks: u32) -> Self {
        let shares = f64::from(looks);
        match self {
            _ if looks <= 1 => self,
            Self::SimpleAcceptance => self,
            Self::GuardBand { factor } => {
                let usual = student::two_sided_quantile(COVERAGE, f64::INFINITY);
                let risk = student::cumulative(-factor * usual, f64::INFINITY);
                Self::GuardBand { factor: -student::one_sided_quantile(risk / shares, f64::INFINITY) / usual }
            }
            Self::FalseAccept { at_most } => Self::FalseAccept { at_most: at_most / shares },
            Self::FalseReject { at_most } => Self::FalseReject { at_most: at_most / shares },
        }
    }

    /// Whether a value can come out undecided by it.
    pub const fn leaves_undecided(&self) -> bool {
        matches!(self, Self::GuardBand { .. } | Self::FalseAccept { .. })
    }
}
