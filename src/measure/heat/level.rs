//! How high a temperature is, and how far it rose.

use super::super::converter::{Converter, ROUNDING, noise};
use super::super::evidence::CheckEvidence;
use super::super::values::{bench, whole};
use super::super::{Measurand, Pooling, Setup, Withheld};
use super::{HOUSING, MOTOR, margin, of_heat};
use crate::capture::{Sample, SampleChannel};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate};

pub(in super::super) const MOTOR_RISE: Measurand = of_heat(
    "motor temperature rise",
    Dimension::TemperatureDifference,
    "temperature of the motor's case at the end of the check, less that at its beginning",
    "common practice",
    MOTOR,
    |check, setup| vec![whole(rise(check, SampleChannel::MotorTemperature, setup))],
);

pub(in super::super) const HOUSING_RISE: Measurand = of_heat(
    "housing temperature rise",
    Dimension::TemperatureDifference,
    "temperature of the housing at the motor's mount at the end of the check, less that at its beginning",
    "common practice",
    HOUSING,
    |check, setup| vec![whole(rise(check, SampleChannel::HousingTemperature, setup))],
);

pub(in super::super) const MOTOR_TEMPERATURE: Measurand = of_heat(
    "motor temperature",
    Dimension::Temperature,
    "highest temperature of the motor's case in the check",
    "common practice",
    MOTOR,
    |check, setup| vec![whole(highest(check, SampleChannel::MotorTemperature, setup))],
)
.pooled(Pooling::Worst);

pub(in super::super) const HOUSING_TEMPERATURE: Measurand = of_heat(
    "housing temperature",
    Dimension::Temperature,
    "highest temperature of the housing at the motor's mount in the check",
    "common practice; printed PLA softens near 60 °C",
    HOUSING,
    |check, setup| vec![whole(highest(check, SampleChannel::HousingTemperature, setup))],
)
.pooled(Pooling::Worst);

pub(in super::super) const HOUSING_MARGIN: Measurand = of_heat(
    "housing temperature margin",
    Dimension::TemperatureDifference,
    "limit of the housing in the unit file, less its highest temperature in the check",
    "common practice",
    HOUSING,
    |check, setup| margin(highest(check, SampleChannel::HousingTemperature, setup), setup),
)
.pooled(Pooling::Worst);

fn samples<'a>(
    check: &'a CheckEvidence,
    channel: SampleChannel,
    setup: &Setup,
) -> Result<(&'a [Sample], Converter), Withheld> {
    let samples = check.samples(channel, 0, check.ended);
    if samples.is_empty() {
        return Err(bench(format!("no sample of `{}` came in the check", channel.name())));
    }
    Ok((samples, Converter::of(channel, setup)?))
}

/// Noise of a reading beyond its rounding, in codes, and its degrees of freedom.
fn beyond_rounding(samples: &[Sample]) -> (f64, f64) {
    ((noise(samples).powi(2) - ROUNDING).max(0.0).sqrt(), (samples.len() as f64 - 2.0).max(1.0))
}

fn rise(check: &CheckEvidence, channel: SampleChannel, setup: &Setup) -> Result<Estimate, Withheld> {
    let (samples, converter) = samples(check, channel, setup)?;
    let [first, .., last] = samples else {
        return Err(bench(format!("one sample of `{}` alone tells no rise", channel.name())));
    };
    let rise = (f64::from(last.code) - f64::from(first.code)) * converter.gain();
    let (noise, freedom) = beyond_rounding(samples);
    // Both readings carry the same offset, which cancels.
    Ok(Estimate::of(rise)
        .and(Component::triangular("resolution", converter.gain()))
        .and(converter.gain_line(rise))
        .with_freedom("repeat", std::f64::consts::SQRT_2 * noise * converter.gain(), freedom))
}

fn highest(check: &CheckEvidence, channel: SampleChannel, setup: &Setup) -> Result<Estimate, Withheld> {
    let (samples, converter) = samples(check, channel, setup)?;
    let code = f64::from(samples.iter().map(|sample| sample.code).max().unwrap_or(0));
    let (noise, freedom) = beyond_rounding(samples);
    Ok(Estimate::of(converter.value(code))
        .and(Component::rectangular("resolution", 0.5 * converter.gain()))
        .and(converter.gain_line(converter.gain() * code))
        .and(converter.offset_line(1.0))
        .with_freedom("repeat", noise * converter.gain(), freedom))
}
