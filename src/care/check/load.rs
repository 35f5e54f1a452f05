//! The dummy load as a known resistor: what the channels of voltage and current make of it. It takes no spare output and no
//! pack of a known voltage, and tells a channel that is dead or far off; a gain that both have too high by the same share it
//! does not tell.

use super::{Proof, reading};
use crate::capture::{Part, SampleChannel};
use crate::jig::{JigFile, LoadReference};
use crate::stats::Estimate;

/// A current below this is none, A: nothing can be divided by it.
const CURRENT_MIN: f64 = 0.05;

/// What voltage over current comes out as while the load is on.
pub(super) fn proof(reference: &LoadReference, part: &Part, jig: &JigFile) -> Proof {
    let [volts, amps] = [SampleChannel::PackVoltage, SampleChannel::PackCurrent];
    let (channel, what) = (amps.name(), "with pack voltage: resistance of the dummy load");
    let read = |channel| reading::mean(channel, part.samples(channel), jig);
    let found = match (read(volts), read(amps)) {
        (Err(why), _) => Proof::nothing(channel, what, format!("{}: {why}", volts.name())),
        (_, Err(why)) => Proof::nothing(channel, what, why),
        (Ok(_), Ok(amps)) if amps.value < CURRENT_MIN => {
            Proof::nothing(channel, what, format!("only {:.0} mA came while the load was on", amps.value * 1e3))
        }
        (Ok(volts), Ok(amps)) => {
            let resistance = volts.value / amps.value;
            let of_volts = volts.standard_uncertainty() / amps.value;
            let of_amps = resistance * amps.standard_uncertainty() / amps.value;
            let value = Estimate::of(resistance)
                .with_freedom("voltage", of_volts, volts.degrees_of_freedom())
                .with_freedom("current", of_amps, amps.degrees_of_freedom())
                .with("reference", reference.uncertainty);
            Proof::measured(channel, what, &reference.resistance, value)
        }
    };
    found.also_of(&["pack voltage"])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::care::check::Found;
    use crate::decide::Decision;
    use crate::written::Source;

    /// What is found where the pack's contacts have so much voltage and the shunt so much current, noise of one code on both.
    fn found(volts: f64, amps: f64) -> Proof {
        let text = include_str!("../../../fixtures/jigs/simulated.yaml");
        let jig = JigFile::read(&Source::new("jig.yaml", text)).unwrap_or_else(|problems| panic!("{}", problems[0]));
        let mut part = Part::default();
        for at in 0..501 {
            let noise = (at % 3) as i32 - 1;
            part.push_sample(SampleChannel::PackVoltage, at, (volts / 1.25e-3).round() as i32 + noise);
            part.push_sample(SampleChannel::PackCurrent, at, (amps / 0.5e-3).round() as i32 - noise);
        }
        proof(jig.references.load.as_ref().expect("it has one"), &part, &jig)
    }

    #[test]
    fn a_channel_that_is_off_or_dead_is_told_whatever_the_pack_has() {
        let decided = |volts: f64, amps: f64| found(volts, amps).decision();
        for volts in [6.5, 7.4, 8.3] {
            let amps = volts / 6.8;
            assert_eq!(decided(volts, amps), Some(Decision::Conforms), "{volts} V");
            for (volts, amps) in [(1.06 * volts, amps), (volts, 0.94 * amps), (0.0, amps), (volts, 0.0)] {
                assert_eq!(decided(volts, amps), Some(Decision::DoesNotConform), "{volts} V, {amps} A");
            }
        }
        // Both too high by the same share is for a known voltage to tell.
        assert_eq!(decided(1.05 * 7.4, 1.05 * 7.4 / 6.8), Some(Decision::Conforms));
    }

    /// A quotient's relative variances add up (JCGM 100:2008, 5.1.6).
    // Outside: standard uncertainty of a quotient, JCGM 100:2008 5.1.6; how: from memory
    #[test]
    fn the_budget_is_that_of_a_quotient() {
        let Found::Measured { estimate, .. } = found(7.4, 1.0).found else { panic!("it was measured") };
        assert!((estimate.value - 7.4).abs() < 1e-9);
        // Of 501 codes of -1, 0, 1 the standard deviation is sqrt(2/3) within a thousandth; half a code either way.
        let codes = ((2.0 / 3.0) / 501.0 + 0.25 / 3.0_f64).sqrt();
        let share = (codes * 1.25e-3 / 7.4).hypot(codes * 0.5e-3 / 1.0);
        let wanted = (7.4 * share).hypot(0.02);
        assert!((estimate.standard_uncertainty() / wanted - 1.0).abs() < 1e-3, "{}", estimate.standard_uncertainty());
        assert!(found(7.4, 1.0).is_about("pack voltage") && found(7.4, 1.0).is_about("pack current"));
    }
}
