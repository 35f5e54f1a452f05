//! Temperatures of motor and housing: how high they are, and where they would settle.

mod level;
mod warming;

pub(super) use level::{HOUSING_MARGIN, HOUSING_RISE, HOUSING_TEMPERATURE, MOTOR_RISE, MOTOR_TEMPERATURE};
pub(super) use warming::{HOUSING_SETTLED, HOUSING_SETTLED_MARGIN, HOUSING_TIME, MOTOR_SETTLED, MOTOR_TIME};

use super::evidence::CheckEvidence;
use super::values::{nobody, whole};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::SampleChannel;
use crate::quantity::Dimension;
use crate::stats::Estimate;

const MOTOR: &[SampleChannel] = &[SampleChannel::MotorTemperature];
const HOUSING: &[SampleChannel] = &[SampleChannel::HousingTemperature];

const fn of_heat(
    name: &'static str,
    dimension: Dimension,
    about: &'static str,
    source: &'static str,
    samples: &'static [SampleChannel],
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand { name, dimension, about, source, edges: &[], samples, pooling: Pooling::Never, reader }
}

/// How far a temperature stays below the housing's limit.
fn margin(temperature: Result<Estimate, Withheld>, setup: &Setup) -> Vec<Reading> {
    let Some(limit) = setup.unit.housing_limit else {
        return vec![whole(Err(nobody("the unit file does not say what its housing stands (housing, limit)")))];
    };
    vec![whole(temperature.map(|estimate| Estimate::combined(limit - estimate.value, &[(&estimate, -1.0)])))]
}
