//! How great a change does not matter: a share of the tolerance, or what was given.

use crate::quantity::Unit;
use crate::study::{Quantity, Tolerated};

/// The share of a tolerance that a change may take up and still not matter (common practice is a tenth to a third).
const SHARE: f64 = 0.2;

/// Margins of all quantities.
#[derive(Debug, Clone, PartialEq)]
pub struct Margins {
    /// Share of the tolerance: of half the width between two limits, or of the one limit's distance from zero.
    pub share: f64,
    /// What was given for measurands.
    pub given: Vec<Given>,
}

/// A margin that was given.
#[derive(Debug, Clone, PartialEq)]
pub struct Given {
    pub measurand: String,
    pub value: f64,
    /// Unit of the value.
    pub unit: String,
}

impl Given {
    /// The margin in the unit of a quantity; none where it is one of another.
    pub fn of(&self, quantity: &Quantity) -> Option<f64> {
        if self.measurand != quantity.measurand {
            return None;
        }
        if self.unit == quantity.unit {
            return Some(self.value);
        }
        let (from, into) = (Unit::named(&self.unit)?.of_differences(), Unit::named(&quantity.unit)?.of_differences());
        (from.dimension() == into.dimension()).then(|| into.from_si(from.to_si(self.value)))
    }
}

impl Default for Margins {
    fn default() -> Self {
        Self { share: SHARE, given: Vec::new() }
    }
}

/// A margin, and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Margin {
    pub value: f64,
    /// In words.
    pub from: &'static str,
}

impl Margins {
    /// The margin of a quantity; none where there is neither a tolerance nor one that was given, or where its limit is zero.
    pub fn of(&self, quantity: &Quantity) -> Option<Margin> {
        if let Some(value) = self.given.iter().find_map(|given| given.of(quantity)) {
            return Some(Margin { value, from: "as given" });
        }
        let Tolerated { lower, upper, .. } = quantity.tolerance.as_ref()?;
        let (whole, from) = match (lower, upper) {
            (Some(lower), Some(upper)) => (0.5 * (upper - lower), "of half the tolerance"),
            (Some(limit), None) | (None, Some(limit)) => (limit.abs(), "of the limit"),
            (None, None) => return None,
        };
        let value = self.share * whole;
        (value > 0.0 && value.is_finite()).then_some(Margin { value, from })
    }
}
