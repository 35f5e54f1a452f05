//! The lowest voltage: in the check, below the rest before a move, and above the unit's brown-out level.

use super::super::converter::{Converter, SAMPLES_MIN, codes};
use super::super::evidence::{CheckEvidence, PhaseEvidence};
use super::super::values::{bench, nobody, reading, ticks, whole};
use super::super::{Measurand, Pooling, Reading, Setup, Withheld};
use super::trough::Trough;
use super::{REST_S, VOLTAGE, of_the_pack, rest, with_steps};
use crate::capture::{Action, SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::{Estimate, summary};

pub(in super::super) const MINIMUM_VOLTAGE: Measurand = of_the_pack(
    "pack minimum voltage",
    Dimension::Voltage,
    "lowest mean of seven samples in a row in the check",
    "common practice",
    VOLTAGE,
    |check, setup| vec![whole(minimum(check, setup))],
)
.pooled(Pooling::Worst);

pub(in super::super) const BROWN_OUT_MARGIN: Measurand = of_the_pack(
    "brown-out margin",
    Dimension::Voltage,
    "lowest mean of seven samples in a row in the check, less the voltage at which the unit file says that the controller resets",
    "common practice",
    VOLTAGE,
    |check, setup| vec![whole(brown_out_margin(check, setup))],
)
.pooled(Pooling::Worst);

pub(in super::super) const SAG: Measurand = with_steps(of_the_pack(
    "pack sag",
    Dimension::Voltage,
    "rest voltage before a move less the lowest mean of seven samples in a row during it",
    "common practice",
    VOLTAGE,
    sag,
));

fn minimum(check: &CheckEvidence, setup: &Setup) -> Result<Estimate, Withheld> {
    let converter = Converter::of(SampleChannel::PackVoltage, setup)?;
    let samples = check.samples(SampleChannel::PackVoltage, check.began, check.ended);
    let lowest = Trough::of(samples).ok_or_else(|| bench("too few samples of `pack voltage` came in the check"))?;
    Ok(Estimate::of(converter.value(lowest.level))
        .and(converter.rounding(lowest.noise_variance, 1.0))
        .and(converter.gain_line(converter.gain() * lowest.level))
        .and(converter.offset_line(1.0))
        .with_freedom("repeat", converter.gain() * lowest.doubt, lowest.degrees_of_freedom))
}

fn brown_out_margin(check: &CheckEvidence, setup: &Setup) -> Result<Estimate, Withheld> {
    let level =
        setup.unit.pack.brown_out.ok_or_else(|| {
            nobody("the unit file does not say at which voltage the controller resets (pack, brown-out)")
        })?;
    let minimum = minimum(check, setup)?;
    Ok(Estimate { value: minimum.value - level, ..minimum })
}

fn sag(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let mut rested_since = check.began;
    let mut readings = Vec::new();
    for phase in &check.phases {
        let moves = matches!(
            phase.phase.action,
            Action::Travel { .. } | Action::Start { .. } | Action::Stop { .. } | Action::Reverse { .. }
        );
        if let Some(first) = phase.runs.first().filter(|_| moves) {
            let own = (
                rested_since.max(first.first.saturating_sub(ticks(0.5 * REST_S, setup))),
                first.first.saturating_sub(1),
            );
            readings.extend(sag_in(check, phase, own, setup).map(|result| reading(phase, result)));
        }
        if let Some(last) = phase.runs.last() {
            rested_since = last.last + ticks(0.05, setup);
        }
    }
    readings
}

/// Rest before less lowest during. A move that follows on another at once has no rest of its own; the check's is taken.
fn sag_in(
    check: &CheckEvidence,
    phase: &PhaseEvidence,
    own: (Tick, Tick),
    setup: &Setup,
) -> Option<Result<Estimate, Withheld>> {
    let channel = SampleChannel::PackVoltage;
    let converter = match Converter::of(channel, setup) {
        Ok(converter) => converter,
        Err(withheld) => return Some(Err(withheld)),
    };
    let mut before = if own.0 < own.1 { check.samples(channel, own.0, own.1) } else { &[] };
    if before.len() < SAMPLES_MIN {
        let (from, to) = rest(check, setup);
        before = check.samples(channel, from, to);
    }
    if before.len() < SAMPLES_MIN {
        return None;
    }
    let lowest = Trough::of(check.samples(channel, phase.began, phase.ended))?;
    let rest = codes(before);
    let (count, gain) = (rest.len() as f64, converter.gain());
    let fall = gain * (summary::mean(&rest)? - lowest.level);
    let scatter = summary::standard_deviation(&rest)?;
    Some(Ok(Estimate::of(fall)
        .and(converter.rounding(scatter * scatter, 1.0).called("resolution, rest"))
        .and(converter.rounding(lowest.noise_variance, 1.0).called("resolution, lowest"))
        .and(converter.gain_line(fall))
        .with_freedom("repeat, rest", gain * scatter / count.sqrt(), count - 1.0)
        .with_freedom("repeat, lowest", gain * lowest.doubt, lowest.degrees_of_freedom)))
}
