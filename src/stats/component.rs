//! One line of an uncertainty budget: an input quantity, how far it is in doubt, and how much of that reaches the value.

/// How a contribution was evaluated (JCGM 100:2008, 3.3.4).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Evaluation {
    /// From the scatter of repeated readings.
    A,
    /// From anything else: a certificate, a resolution, a specification.
    B,
}

/// How the input is believed to be spread about its estimate (JCGM 100:2008, 4.3 and 4.4).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Distribution {
    /// Normal, or Student's t where the degrees of freedom are few.
    Normal,
    /// Anywhere between two limits, equally likely.
    Rectangular,
    /// The sum of two equal rectangular ones.
    Triangular,
    /// Of a sine's values, most likely near its extremes.
    Arcsine,
}

impl Distribution {
    /// In a word, as it stands in a budget.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Rectangular => "rectangular",
            Self::Triangular => "triangular",
            Self::Arcsine => "arcsine",
        }
    }

    /// Half of the width of the distribution, in standard deviations; infinite for a normal one.
    pub fn half_width(self) -> f64 {
        match self {
            Self::Normal => f64::INFINITY,
            Self::Rectangular => 3_f64.sqrt(),
            Self::Triangular => 6_f64.sqrt(),
            Self::Arcsine => 2_f64.sqrt(),
        }
    }
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// Where the doubt comes from, in the words of a budget: "resolution", "calibration", "clock", "repeat".
    pub from: &'static str,
    /// Whether it was found from repeated readings.
    pub evaluation: Evaluation,
    /// How the input is believed to be spread.
    pub distribution: Distribution,
    /// Standard uncertainty of the input quantity, in `input_unit`.
    pub input_uncertainty: f64,
    /// SI unit of the input quantity; `None` where the input is in the unit of the value itself.
    pub input_unit: Option<&'static str>,
    /// Change of the value per change of the input, with its sign (JCGM 100:2008, 5.1.3).
    pub sensitivity: f64,
    /// Degrees of freedom; infinite where the contribution is known well (type B).
    pub degrees_of_freedom: f64,
    /// The cause that it shares with contributions to other values, such as the jig's clock. Contributions of one cause
    /// are fully correlated.
    pub cause: Option<&'static str>,
}

impl Component {
    /// A type B contribution with a standard uncertainty that is known, as a calibration certificate states it; where
    /// it is computed as a part of a negative value, its magnitude counts.
    pub const fn normal(from: &'static str, standard_uncertainty: f64) -> Self {
        Self {
            from,
            evaluation: Evaluation::B,
            distribution: Distribution::Normal,
            input_uncertainty: standard_uncertainty.abs(),
            input_unit: None,
            sensitivity: 1.0,
            degrees_of_freedom: f64::INFINITY,
            cause: None,
        }
    }

    /// A type B contribution that lies within ± `half_width`, equally likely everywhere: the resolution of one reading
    /// (JCGM 100:2008, 4.3.7).
    pub fn rectangular(from: &'static str, half_width: f64) -> Self {
        Self::bounded(from, Distribution::Rectangular, half_width)
    }

    /// A type B contribution that lies within ± `half_width` and is the sum of two equal rectangular ones: the resolution
    /// of a difference of two readings (JCGM 100:2008, 4.3.9).
    pub fn triangular(from: &'static str, half_width: f64) -> Self {
        Self::bounded(from, Distribution::Triangular, half_width)
    }

    /// A type B contribution of something that swings between ± `half_width` as a sine does (JCGM 100:2008, H.1.6).
    pub fn arcsine(from: &'static str, half_width: f64) -> Self {
        Self::bounded(from, Distribution::Arcsine, half_width)
    }

    fn bounded(from: &'static str, distribution: Distribution, half_width: f64) -> Self {
        Self { distribution, ..Self::normal(from, half_width / distribution.half_width()) }
    }

    /// A type A contribution: a standard deviation (of a mean, of a fitted parameter) with its degrees of freedom.
    pub const fn repeated(from: &'static str, standard_uncertainty: f64, degrees_of_freedom: f64) -> Self {
        Self { evaluation: Evaluation::A, degrees_of_freedom, ..Self::normal(from, standard_uncertainty) }
    }

    /// The input is another quantity, in a unit of its own, that reaches the value through this sensitivity.
    pub const fn through(self, sensitivity: f64, input_unit: &'static str) -> Self {
        Self { sensitivity, input_unit: Some(input_unit), ..self }
    }

    /// The same, from something else in the words of a budget.
    pub const fn called(self, from: &'static str) -> Self {
        Self { from, ..self }
    }

    /// The input is one that other values share.
    pub const fn shared(self, cause: &'static str) -> Self {
        Self { cause: Some(cause), ..self }
    }

    /// The contribution as it acts on a value that changes by `sensitivity` for each change of this one.
    pub fn scaled(&self, sensitivity: f64) -> Self {
        Self { sensitivity: self.sensitivity * sensitivity, ..self.clone() }
    }

    /// The contribution to the standard uncertainty, in the unit of the value.
    pub fn standard_uncertainty(&self) -> f64 {
        self.signed().abs()
    }

    /// The same with the sign of its sensitivity.
    pub fn signed(&self) -> f64 {
        self.sensitivity * self.input_uncertainty
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_uncertainty_is_never_negative() {
        let of_a_fall = -0.2;
        assert_eq!(Component::normal("fall", of_a_fall).input_uncertainty, 0.2);
        assert!(Component::rectangular("fall", of_a_fall).input_uncertainty > 0.0);
        assert!(Component::repeated("fall", of_a_fall, 3.0).input_uncertainty > 0.0);
    }
}
