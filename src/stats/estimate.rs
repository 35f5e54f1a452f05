//! A measured value with its uncertainty budget, combined as JCGM 100:2008 (GUM) clauses 5.1.2, 5.2.2 and G.4 say.

use super::{Component, Drawn, Spread};

/// A measured value with its uncertainty budget. Both are in the SI unit of the measurand's dimension.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// The best estimate.
    pub value: f64,
    /// Its uncertainty budget; empty for an exact count.
    pub budget: Vec<Component>,
    /// Which lines of the budget go together, other than fully or not at all.
    pub correlations: Vec<Correlation>,
    /// How the true value is spread about this one, where it was drawn since the budget does not tell it.
    pub drawn: Option<Drawn>,
}

/// Two lines of a budget whose inputs were estimated together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correlation {
    /// Places of the two lines in the budget.
    pub lines: (usize, usize),
    /// Correlation coefficient of their inputs, between −1 and 1 (JCGM 100:2008, 5.2.2).
    pub coefficient: f64,
}

impl Estimate {
    /// A value without any doubt: a count of whole things.
    pub const fn exact(value: f64) -> Self {
        Self { value, budget: Vec::new(), correlations: Vec::new(), drawn: None }
    }

    /// A value whose budget is added line by line.
    pub const fn of(value: f64) -> Self {
        Self::exact(value)
    }

    /// Adds a line. A contribution of nothing is left out.
    pub fn and(mut self, component: Component) -> Self {
        if component.signed() != 0.0 {
            self.budget.push(component);
        }
        self
    }

    /// Adds a contribution in the unit of the value that is known well (type B, normal).
    pub fn with(self, from: &'static str, standard_uncertainty: f64) -> Self {
        self.and(Component::normal(from, standard_uncertainty))
    }

    /// Adds a contribution in the unit of the value that was estimated from few readings (type A).
    pub fn with_freedom(self, from: &'static str, standard_uncertainty: f64, degrees_of_freedom: f64) -> Self {
        self.and(Component::repeated(from, standard_uncertainty, degrees_of_freedom))
    }

    /// Adds two lines whose inputs were estimated together, with the correlation coefficient of the two inputs.
    pub fn and_correlated(mut self, one: Component, other: Component, coefficient: f64) -> Self {
        let lines = (self.budget.len(), self.budget.len() + 1);
        self.budget.extend([one, other]);
        self.correlations.push(Correlation { lines, coefficient });
        self
    }

    /// A value that depends on others, each with its sensitivity: change of the value per change of that one. Lines of one
    /// cause become one line, in which sensitivities of opposite signs cancel: a clock's error in a ratio of two times.
    pub fn combined(value: f64, parts: &[(&Estimate, f64)]) -> Self {
        let mut combined = Self::of(value);
        for (part, sensitivity) in parts {
            let moved: Vec<usize> =
                part.budget.iter().map(|line| combined.take_in(line.scaled(*sensitivity))).collect();
            combined.correlations.extend(part.correlations.iter().map(|pair| Correlation {
                lines: (moved[pair.lines.0], moved[pair.lines.1]),
                coefficient: pair.coefficient,
            }));
        }
        combined
    }

    /// Adds a line, to the one of the same cause where there is one; returns its place.
    fn take_in(&mut self, line: Component) -> usize {
        let same = |known: &Component| {
            known.cause.is_some() && known.cause == line.cause && known.input_uncertainty == line.input_uncertainty
        };
        if let Some(place) = self.budget.iter().position(same) {
            self.budget[place].sensitivity += line.sensitivity;
            return place;
        }
        self.budget.push(line);
        self.budget.len() - 1
    }

    /// Combined standard uncertainty (JCGM 100:2008, 5.1.2 and 5.2.2).
    pub fn standard_uncertainty(&self) -> f64 {
        let independent: f64 = self.budget.iter().map(|line| line.signed().powi(2)).sum();
        let together: f64 = self
            .correlations
            .iter()
            .map(|pair| {
                2.0 * pair.coefficient * self.budget[pair.lines.0].signed() * self.budget[pair.lines.1].signed()
            })
            .sum();
        let variance = independent + together;
        // Rounding may leave less than nothing, and an empty sum is minus zero. What is no number stays none.
        if variance <= 0.0 { 0.0 } else { variance.sqrt() }
    }

    /// Effective degrees of freedom after Welch and Satterthwaite (JCGM 100:2008, G.4.1); infinite for a known budget. Where
    /// lines are correlated the formula does not hold strictly; it then errs towards fewer.
    pub fn degrees_of_freedom(&self) -> f64 {
        let fourth: f64 = self.budget.iter().map(|line| line.signed().powi(4) / line.degrees_of_freedom).sum();
        if fourth == 0.0 { f64::INFINITY } else { self.standard_uncertainty().powi(4) / fourth }
    }

    /// How the true value is believed to be spread about this one.
    pub fn spread(&self) -> Spread {
        Spread::of(self)
    }

    /// Coverage factor for a two-sided coverage probability: Student's t (JCGM 100:2008, G.3), smaller where rectangular
    /// contributions dominate (G.1.5 and G.2.3 there), or what was drawn.
    pub fn coverage_factor(&self, probability: f64) -> f64 {
        let uncertainty = self.standard_uncertainty();
        let spread = self.spread();
        if uncertainty == 0.0 {
            spread.of_a_known_value(probability)
        } else {
            spread.half_width(probability) / uncertainty
        }
    }

    /// Expanded uncertainty for a two-sided coverage probability, in the unit of the value.
    pub fn expanded_uncertainty(&self, probability: f64) -> f64 {
        self.coverage_factor(probability) * self.standard_uncertainty()
    }
}

/// The next lower whole number of degrees of freedom, at least one (JCGM 100:2008, G.4.1, note 1).
pub fn whole_freedom(degrees_of_freedom: f64) -> f64 {
    if degrees_of_freedom.is_finite() { degrees_of_freedom.floor().max(1.0) } else { degrees_of_freedom }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_clock_cancels_in_a_ratio_of_two_times() {
        let clock = |time: f64| Component::normal("clock", 1e-3).through(time, "1").shared("clock of the jig");
        let (one, other) = (Estimate::of(2.0).and(clock(2.0)), Estimate::of(4.0).and(clock(4.0)).with("stamp", 0.4));
        let ratio = Estimate::combined(0.5, &[(&one, 1.0 / 4.0), (&other, -2.0 / 16.0)]);
        assert!((ratio.standard_uncertainty() - 0.05).abs() < 1e-15, "{ratio:?}");
        let sum = Estimate::combined(6.0, &[(&one, 1.0), (&other, 1.0)]);
        assert!((sum.standard_uncertainty() - 6e-3_f64.hypot(0.4)).abs() < 1e-15, "{sum:?}");
    }

    #[test]
    fn correlated_lines_add_up_as_their_coefficient_says() {
        let line = |u| Component::repeated("fit", u, 10.0);
        for (coefficient, expected) in [(1.0, 7.0), (-1.0, 1.0), (0.0, 5.0)] {
            let value = Estimate::of(1.0).and_correlated(line(3.0), line(4.0), coefficient);
            assert!((value.standard_uncertainty() - expected).abs() < 1e-12);
            let twice = Estimate::combined(2.0, &[(&Estimate::of(0.0).with("other", 1.0), 0.0), (&value, 2.0)]);
            assert!((twice.standard_uncertainty() - 2.0 * expected).abs() < 1e-12);
        }
    }
}
