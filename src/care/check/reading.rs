//! A sampled channel against a known value: the mean of what it reads, as its calibration turns it into a value.

use super::Proof;
use crate::capture::{Sample, SampleChannel};
use crate::jig::{JigFile, ValueReference};
use crate::stats::{Component, Estimate, summary};

/// Fewer samples say too little of their scatter.
const SAMPLES_MIN: usize = 3;

/// What a channel shows of its reference.
pub(super) fn proof(reference: &ValueReference, samples: &[Sample], jig: &JigFile) -> Proof {
    let what = "against its reference";
    match mean(reference.channel, samples, jig) {
        Ok(value) => {
            let value = value.with("reference", reference.uncertainty);
            Proof::measured(reference.channel.name(), what, &reference.reads, value)
        }
        Err(why) => Proof::nothing(reference.channel.name(), what, why),
    }
}

/// The mean of what a channel read, or why there is none.
pub(super) fn mean(channel: SampleChannel, samples: &[Sample], jig: &JigFile) -> Result<Estimate, String> {
    let calibration = jig.samples.iter().find(|input| input.channel == channel).map(|input| input.calibration);
    let codes: Vec<f64> = samples.iter().map(|sample| f64::from(sample.code)).collect();
    let mean = summary::mean(&codes).zip(summary::standard_deviation(&codes)).filter(|_| codes.len() >= SAMPLES_MIN);
    let (Some(calibration), Some((mean, scatter))) = (calibration, mean) else {
        return Err(format!("{} samples came, which says nothing", codes.len()));
    };
    let count = codes.len() as f64;
    let repeat = Component::repeated("repeat", calibration.gain * scatter / count.sqrt(), count - 1.0);
    let resolution = Component::rectangular("resolution", 0.5 * calibration.gain);
    Ok(Estimate::of(calibration.gain * mean + calibration.offset).and(repeat).and(resolution))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::care::check::Found;
    use crate::decide::Decision;
    use crate::written::Source;

    fn jig() -> JigFile {
        let text = include_str!("../../../fixtures/jigs/simulated.yaml");
        JigFile::read(&Source::new("jig.yaml", text)).unwrap_or_else(|problems| panic!("{}", problems[0]))
    }

    fn decided(codes: &[i32]) -> Option<Decision> {
        let jig = jig();
        let samples: Vec<Sample> = codes.iter().map(|code| Sample { at: 0, code: *code }).collect();
        proof(&jig.references.values[0], &samples, &jig).decision()
    }

    #[test]
    fn a_channel_that_is_off_or_silent_is_no_good_one() {
        // 7.400 V at 1.25 mV a code are 5920; the tolerance is ± 40 mV, 32 codes.
        assert_eq!(decided(&[5920; 50]), Some(Decision::Conforms));
        assert_eq!(decided(&[5951; 50]), Some(Decision::Undecided));
        assert_eq!(decided(&[6038; 50]), Some(Decision::DoesNotConform), "2 % too high");
        for silent in [&[][..], &[5920], &[5920; 2]] {
            assert_eq!(decided(silent), Some(Decision::DoesNotConform));
        }
        assert_ne!(decided(&[5800, 5920, 6040]), Some(Decision::Conforms), "it scatters by 2 %");
    }

    /// The mean of 1, 2, 3, 4, 5 is 3, its standard deviation √2.5, and that of the mean √0.5 (JCGM 100:2008, 4.2.3).
    // Outside: standard uncertainty of the mean of five readings, JCGM 100:2008 4.2.3; how: from memory
    #[test]
    fn the_budget_is_that_of_a_mean() {
        let jig = jig();
        let samples: Vec<Sample> = (1..=5).map(|code| Sample { at: 0, code }).collect();
        let Found::Measured { estimate, .. } = proof(&jig.references.values[0], &samples, &jig).found else {
            panic!("it was measured")
        };
        let code = 1.25e-3;
        assert!((estimate.value - 3.0 * code).abs() < 1e-12);
        let repeat = estimate.budget.iter().find(|line| line.from == "repeat").expect("a line");
        assert!((repeat.standard_uncertainty() - 0.5_f64.sqrt() * code).abs() < 1e-12);
        assert_eq!(repeat.degrees_of_freedom, 4.0);
    }
}
