//! Temperatures of motor and housing.

use super::evidence::CheckEvidence;
use super::values::{RECTANGULAR, bench, whole};
use super::{Measurand, Reading, Setup, Withheld};
use crate::capture::{Calibration, Sample, SampleChannel};
use crate::quantity::Dimension;
use crate::stats::Estimate;

pub(super) const MOTOR_RISE: Measurand = Measurand {
    name: "motor temperature rise",
    dimension: Dimension::TemperatureDifference,
    about: "temperature of the motor's case at the end of the check, less that at its beginning",
    source: "common practice",
    edges: &[],
    samples: &[SampleChannel::MotorTemperature],
    reader: motor_rise,
};

pub(super) const MOTOR_TEMPERATURE: Measurand = Measurand {
    name: "motor temperature",
    dimension: Dimension::Temperature,
    about: "highest temperature of the motor's case in the check",
    source: "common practice",
    edges: &[],
    samples: &[SampleChannel::MotorTemperature],
    reader: |check, setup| vec![whole(highest(check, SampleChannel::MotorTemperature, setup))],
};

pub(super) const HOUSING_TEMPERATURE: Measurand = Measurand {
    name: "housing temperature",
    dimension: Dimension::Temperature,
    about: "highest temperature of the housing at the motor's mount in the check",
    source: "common practice; printed PLA softens near 60 °C",
    edges: &[],
    samples: &[SampleChannel::HousingTemperature],
    reader: |check, setup| vec![whole(highest(check, SampleChannel::HousingTemperature, setup))],
};

fn samples<'a>(
    check: &'a CheckEvidence,
    channel: SampleChannel,
    setup: &Setup,
) -> Result<(&'a [Sample], Calibration), Withheld> {
    let samples = check.samples(channel, 0, check.ended);
    match setup.jig.calibrations[channel.index()] {
        Some(calibration) if !samples.is_empty() => Ok((samples, calibration)),
        _ => Err(bench(format!("no sample of `{}` came in the check", channel.name()))),
    }
}

fn motor_rise(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let result = samples(check, SampleChannel::MotorTemperature, setup).map(|(samples, calibration)| {
        let code = |sample: Option<&Sample>| f64::from(sample.map_or(0, |sample| sample.code));
        let rise = (code(samples.last()) - code(samples.first())) * calibration.gain;
        // Both readings carry the same offset, which cancels.
        Estimate::of(rise)
            .with("resolution", std::f64::consts::SQRT_2 * RECTANGULAR * calibration.gain)
            .with("calibration", rise * calibration.gain_uncertainty)
    });
    vec![whole(result)]
}

fn highest(check: &CheckEvidence, channel: SampleChannel, setup: &Setup) -> Result<Estimate, Withheld> {
    let (samples, calibration) = samples(check, channel, setup)?;
    let code = samples.iter().map(|sample| sample.code).max().unwrap_or(0);
    Ok(Estimate::of(calibration.value(code))
        .with("resolution", RECTANGULAR * calibration.gain)
        .with("calibration, gain", calibration.gain * f64::from(code) * calibration.gain_uncertainty)
        .with("calibration, offset", calibration.offset_uncertainty))
}
