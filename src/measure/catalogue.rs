//! The catalogue of measurands. Each stands beside the others of its family; here they are only called together.

use super::values::{bench, nobody, whole};
use super::{Blame, CheckEvidence, Pooling, Reading, Setup};
use super::{
    closer, colour, controls, crawl, ends, flicker, heat, jitter, levels, light, pack, positioning, speed, step_clock,
    stopping, stops, strides, symmetry, talk,
};
use crate::capture::{EdgeChannel, SampleChannel};
use crate::quantity::Dimension;

/// Something that can be measured.
#[derive(Debug, Clone)]
pub struct Measurand {
    /// Its name in plans.
    pub name: &'static str,
    /// Its dimension; values are in the dimension's SI unit.
    pub dimension: Dimension,
    /// Its definition, in a line.
    pub about: &'static str,
    /// Where the definition comes from: standard and clause, or "common practice".
    pub source: &'static str,
    /// Digital channels that it needs.
    pub edges: &'static [EdgeChannel],
    /// Sampled channels that it needs.
    pub samples: &'static [SampleChannel],
    /// How the rounds of a check that repeats its moves are judged together.
    pub pooling: Pooling,
    pub(super) reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
}

impl Measurand {
    /// The same, but for how its rounds are judged together.
    pub(super) const fn pooled(self, pooling: Pooling) -> Self {
        Self { pooling, ..self }
    }

    /// Reads it from a check's evidence: one reading for each phase that it applies to, or one for the whole check. Where
    /// a channel is missing or evidence was lost, the value is withheld and the bench is to blame.
    pub fn read(&self, check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
        let missing = self
            .edges
            .iter()
            .filter(|channel| !setup.jig.edges.contains(channel))
            .map(|channel| channel.name().to_owned());
        let uncalibrated = self.samples.iter().filter(|channel| setup.jig.calibrations[channel.index()].is_none());
        if let Some(channel) = missing.chain(uncalibrated.map(|channel| channel.name())).next() {
            let why = format!("the jig has no channel `{channel}`");
            return vec![whole(Err(if check.without_transcript { nobody(why) } else { bench(why) }))];
        }
        let captured = !self.edges.is_empty() || !self.samples.is_empty();
        if let Some(loss) = check.losses.first().filter(|_| captured) {
            return vec![whole(Err(bench(format!("evidence was lost: {}", loss.what))))];
        }
        if !check.without_transcript {
            return (self.reader)(check, setup);
        }
        if !captured {
            return vec![whole(Err(nobody("the capture holds nothing of what the unit and the bench said")))];
        }
        let mut readings = (self.reader)(check, setup);
        for reading in &mut readings {
            match &mut reading.result {
                Ok(estimate) if !estimate.value.is_finite() => {
                    let why = "it is compared with a command, which this capture does not tell";
                    reading.result = Err(nobody(why));
                }
                // What a bench should have told, another instrument cannot.
                Err(withheld) if withheld.blame == Blame::Bench => withheld.blame = Blame::Nobody,
                _ => {}
            }
        }
        readings
    }

    /// Whether a session has to look closer for it.
    pub fn needs_closer_look(&self) -> bool {
        closer::MEASURANDS.contains(&self.name)
    }

    /// Whether a capture with the channels of this jig can hold it.
    pub fn is_supported(&self, setup: &Setup) -> bool {
        self.edges.iter().all(|channel| setup.jig.edges.contains(channel))
            && self.samples.iter().all(|channel| setup.jig.calibrations[channel.index()].is_some())
    }
}

/// All measurands, in the order of a manual.
pub const CATALOGUE: &[Measurand] = &[
    speed::START_UP_TIME,
    speed::TRAVEL_TIME,
    speed::TRAVEL_LENGTH,
    speed::TRAVEL_IN_STEPS,
    speed::CRUISE_SPEED,
    speed::STEP_RATE_ERROR,
    closer::TIMER_TICK,
    step_clock::RATE_GRANULARITY,
    step_clock::PERIOD_OFFSET,
    step_clock::TIMER_CLOCK_ERROR,
    symmetry::SPEED,
    symmetry::TIME,
    symmetry::HELD,
    levels::SPEED_ERROR,
    levels::RATIO_ERROR,
    levels::OUT_OF_ORDER,
    jitter::PERIOD_RMS,
    jitter::PERIOD_PEAK_TO_PEAK,
    jitter::PERIOD_P99,
    jitter::PERIOD_P99_9,
    jitter::CYCLE_TO_CYCLE,
    jitter::LONGEST_GAP,
    closer::TIME_INTERVAL_ERROR_TONE,
    closer::DOUBLED_STEPS,
    closer::SPEED_RIPPLE_RMS,
    closer::SPEED_RIPPLE_PEAK,
    step_clock::FULL_STEP_JITTER,
    step_clock::TIME_INTERVAL_ERROR,
    step_clock::PROFILE_TIME_ERROR,
    step_clock::ALLAN_DEVIATION,
    step_clock::RAMP_ACCELERATION,
    step_clock::RAMP_DECELERATION,
    strides::MISSING_STEPS,
    strides::EXTRA_STEPS,
    strides::BELT_SLIP,
    strides::BACKLASH,
    ends::RESPONSE,
    ends::BOUNCE,
    ends::BOUNCES,
    ends::OVERRUN,
    ends::REPEATABILITY,
    ends::MISSED,
    positioning::ACCURACY,
    positioning::ACCURACY_RIGHTWARD,
    positioning::ACCURACY_LEFTWARD,
    positioning::REPEATABILITY,
    positioning::REPEATABILITY_RIGHTWARD,
    positioning::REPEATABILITY_LEFTWARD,
    positioning::SYSTEMATIC,
    positioning::SYSTEMATIC_RIGHTWARD,
    positioning::SYSTEMATIC_LEFTWARD,
    positioning::REVERSAL,
    positioning::MEAN_REVERSAL,
    positioning::MEAN_DEVIATION,
    stopping::STOP_DISTANCE,
    stops::DELAY,
    stops::DECELERATION,
    stops::AT_FULL_SPEED,
    stopping::CREEP_AFTER_STOP,
    stopping::CONTROL_RESPONSE,
    stopping::CONTACT_RESPONSE,
    stopping::DEAD_CONTROLS,
    controls::BOUNCE,
    controls::BOUNCES,
    crawl::INTERVAL,
    crawl::INCREMENT,
    crawl::INTERVAL_SCATTER,
    crawl::INCREMENT_SCATTER,
    pack::REST_VOLTAGE,
    pack::MINIMUM_VOLTAGE,
    pack::BROWN_OUT_MARGIN,
    pack::SAG,
    pack::SERIES_RESISTANCE,
    pack::RESISTANCE_IN_USE,
    pack::OHMIC_RESISTANCE,
    pack::SLOW_RESISTANCE,
    pack::SLOW_TIME,
    pack::RECOVERY_TIME,
    pack::SUPPLY_RIPPLE,
    pack::OFF_CURRENT,
    pack::IDLE_CURRENT,
    pack::HOLDING_CURRENT,
    pack::CRUISE_CURRENT,
    pack::CRUISE_POWER,
    pack::DUTY_POWER,
    pack::TRAVERSE_ENERGY,
    pack::RUNNING_TIME,
    heat::MOTOR_RISE,
    heat::MOTOR_TEMPERATURE,
    heat::HOUSING_RISE,
    heat::HOUSING_TEMPERATURE,
    heat::HOUSING_MARGIN,
    heat::MOTOR_SETTLED,
    heat::MOTOR_TIME,
    heat::HOUSING_SETTLED,
    heat::HOUSING_TIME,
    heat::HOUSING_SETTLED_MARGIN,
    light::SEGMENT_ERRORS,
    light::LIT_SEGMENTS,
    light::OUT_OF_ORDER,
    flicker::DEPTH,
    flicker::FREQUENCY,
    flicker::AGAINST_LOW_RISK,
    colour::RED,
    colour::GREEN,
    colour::BLUE,
    talk::UNANSWERED_COMMANDS,
    talk::REFUSED_COMMANDS,
    talk::WRONG_REPORTS,
    talk::UNEXPECTED_RESTARTS,
    talk::OBJECTIONS,
];

/// The measurand with this name.
pub fn find(name: &str) -> Option<&'static Measurand> {
    CATALOGUE.iter().find(|measurand| measurand.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_unique_and_everything_is_said() {
        for (index, measurand) in CATALOGUE.iter().enumerate() {
            assert!(CATALOGUE[index + 1..].iter().all(|other| other.name != measurand.name), "{}", measurand.name);
            assert!(!measurand.about.is_empty() && !measurand.source.is_empty(), "{}", measurand.name);
        }
        assert_eq!(find("cruise speed").map(|measurand| measurand.dimension), Some(Dimension::Speed));
        assert!(find("cruise sped").is_none());
    }
}
