//! A measured value with its uncertainty budget, combined as JCGM 100:2008 (GUM) clauses 5.1.2 and G.4 say.

use super::student;

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// Where the doubt comes from, in the words of a budget: "resolution", "calibration", "clock", "repeat".
    pub from: &'static str,
    /// Its contribution to the standard uncertainty, in the unit of the value.
    pub standard_uncertainty: f64,
    /// Degrees of freedom; infinite where the contribution is known well (type B).
    pub degrees_of_freedom: f64,
}

/// A measured value with its uncertainty budget. Both are in the SI unit of the measurand's dimension.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// The best estimate.
    pub value: f64,
    /// Its uncertainty budget; empty for an exact count.
    pub budget: Vec<Component>,
}

impl Estimate {
    /// A value without any doubt: a count of whole things.
    pub fn exact(value: f64) -> Self {
        Self { value, budget: Vec::new() }
    }

    /// A value whose budget is added with [`Estimate::with`].
    pub fn of(value: f64) -> Self {
        Self::exact(value)
    }

    /// Adds a contribution that is known well (infinite degrees of freedom).
    pub fn with(self, from: &'static str, standard_uncertainty: f64) -> Self {
        self.with_freedom(from, standard_uncertainty, f64::INFINITY)
    }

    /// Adds a contribution that was itself estimated from few readings. A contribution of nothing is left out.
    pub fn with_freedom(mut self, from: &'static str, standard_uncertainty: f64, degrees_of_freedom: f64) -> Self {
        if standard_uncertainty != 0.0 {
            self.budget.push(Component { from, standard_uncertainty: standard_uncertainty.abs(), degrees_of_freedom });
        }
        self
    }

    /// Combined standard uncertainty of independent contributions (JCGM 100, 5.1.2).
    pub fn standard_uncertainty(&self) -> f64 {
        // An empty sum is minus zero; a doubt is never negative.
        self.budget.iter().map(|part| part.standard_uncertainty.powi(2)).sum::<f64>().sqrt().abs()
    }

    /// Effective degrees of freedom after Welch and Satterthwaite (JCGM 100, G.4.1); infinite for a known budget.
    pub fn degrees_of_freedom(&self) -> f64 {
        let fourth: f64 =
            self.budget.iter().map(|part| part.standard_uncertainty.powi(4) / part.degrees_of_freedom).sum();
        if fourth == 0.0 { f64::INFINITY } else { self.standard_uncertainty().powi(4) / fourth }
    }

    /// Coverage factor for a two-sided coverage probability (JCGM 100, G.3), degrees of freedom truncated as G.4.1 says.
    pub fn coverage_factor(&self, probability: f64) -> f64 {
        student::two_sided_quantile(probability, whole_freedom(self.degrees_of_freedom()))
    }

    /// Expanded uncertainty for a two-sided coverage probability, in the unit of the value.
    pub fn expanded_uncertainty(&self, probability: f64) -> f64 {
        self.coverage_factor(probability) * self.standard_uncertainty()
    }
}

/// The next lower whole number of degrees of freedom, at least one (JCGM 100, G.4.1, note 1).
pub fn whole_freedom(degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom.is_finite() { degrees_of_freedom.floor().max(1.0) } else { degrees_of_freedom }
}
