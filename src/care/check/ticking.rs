//! The jig's clock against the computer's: how many of its ticks passed between two moments of the other. The longer the
//! wait, the less it matters how well each of the two moments is known on both.

use super::Proof;
use crate::capture::Tick;
use crate::clock::HostTime;
use crate::jig::{ClockReference, JigFile, JigKind};
use crate::stats::Estimate;

/// A moment on both clocks.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub host: HostTime,
    pub tick: Tick,
    /// Standard uncertainty of the relation of the two, ticks.
    pub doubt: Tick,
}

/// Name of the finding.
const WHAT: &str = "against the computer's";

/// How far the jig's clock is off beyond what its calibration says, in rate.
pub(super) fn proof(reference: &ClockReference, from: Moment, to: Moment, jig: &JigFile) -> Proof {
    let rate = jig.clock.ticks_per_second as f64;
    let host_s = to.host.since(from.host).as_secs_f64();
    let jig_s = to.tick.saturating_sub(from.tick) as f64 / rate;
    if host_s <= 0.0 || jig_s <= 0.0 {
        return Proof::nothing("clock".into(), WHAT, "it did not tick");
    }
    // A clock that runs fast counts too many seconds: true seconds = counted seconds × (1 + error).
    let error = host_s / jig_s - 1.0 - jig.clock.error;
    let stamps = (from.doubt as f64).hypot(to.doubt as f64) / rate / host_s;
    let error = Estimate::of(error).with("moments", stamps).with("reference", reference.uncertainty);
    Proof::measured("clock".into(), WHAT, &reference.error, error)
}

/// Why the clock cannot be held against the computer's, where it cannot.
pub(super) fn not_checked(jig: &JigFile) -> Option<Proof> {
    let why = match (jig.kind, &jig.references.clock) {
        (JigKind::RaspberryPi, _) => "a Raspberry Pi stamps by the computer's own clock; compare it with another one",
        (_, None) => "no reference in the jig file",
        _ => return None,
    };
    Some(Proof::not_checked("clock".into(), WHAT, why))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::care::check::Found;
    use crate::decide::Decision;
    use crate::written::Source;

    #[test]
    fn a_clock_that_runs_off_is_found_by_its_sign_and_size() {
        let text = include_str!("../../../fixtures/jigs/simulated.yaml");
        let jig = JigFile::read(&Source::new("jig.yaml", text)).unwrap_or_else(|problems| panic!("{}", problems[0]));
        let reference = jig.references.clock.clone().expect("a reference");
        let found = |ppm: f64, doubt: Tick| {
            let from = Moment { host: HostTime::from_nanos(5_000_000_000), tick: 1000, doubt };
            let ticks = (60e6 * (1.0 + ppm * 1e-6)).round() as Tick;
            let to = Moment { host: HostTime::from_nanos(35_000_000_000), tick: 1000 + ticks, doubt };
            proof(&reference, from, to, &jig)
        };
        for (ppm, doubt, decision) in [
            (0.0, 1, Decision::Conforms),
            (60.0, 1, Decision::Conforms),
            (200.0, 1, Decision::DoesNotConform),
            (-200.0, 1, Decision::DoesNotConform),
            (0.0, 10_000, Decision::Undecided),
        ] {
            assert_eq!(found(ppm, doubt).decision(), Some(decision), "{ppm} ppm, {doubt}");
        }
        let Found::Measured { estimate, .. } = found(200.0, 1).found else { panic!("measured") };
        assert!((estimate.value * 1e6 + 200.0).abs() < 0.1, "a fast clock counts too much: {}", estimate.value);
    }
}
