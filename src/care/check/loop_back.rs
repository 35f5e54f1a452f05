//! A wire from an output to an input: every pulse has to come through, none twice, none elsewhere, and all of them soon.

use super::Proof;
use crate::capture::{Driven, EdgeChannel, OutputChannel, Part};
use crate::jig::{JigFile, LoopBack};
use crate::quantity::{Dimension, Tolerance};
use crate::stats::{Component, Estimate};

/// What a wire shows. `part` holds what happened from before the first pulse to well behind the last.
pub(super) fn proofs(wire: &LoopBack, part: &Part, jig: &JigFile) -> Vec<Proof> {
    let channel = wire.to.name().to_owned();
    let from = wire.from.name();
    let driven: Vec<&Driven> = part.driven.iter().filter(|driven| driven.output == wire.from).collect();
    let edges = part.edges(wire.to);
    let seen = edges.iter().filter(|edge| edge.level()).count();
    let mut proofs = vec![
        counted(channel.clone(), format!("pulses from {from}"), seen, &format!("exactly {}", wire.pulses)),
        counted(
            channel.clone(),
            format!("edges elsewhere at pulses from {from}"),
            elsewhere(wire, part, jig),
            "at most 0",
        ),
    ];
    let what = format!("delay behind {from}");
    proofs.push(if edges.len() == driven.len() && !edges.is_empty() {
        let rate = jig.clock.ticks_per_second as f64;
        let delays = edges.iter().zip(&driven).map(|(edge, driven)| edge.tick() as f64 - driven.at as f64);
        let longest = delays.fold(f64::NEG_INFINITY, f64::max) / rate;
        let stamps = jig.clock.stamp_uncertainty * 2.0_f64.sqrt();
        let delay = Estimate::of(longest).and(Component::triangular("ticks", 1.0 / rate)).with("stamps", stamps);
        Proof::measured(channel, what, &wire.delay, delay)
    } else {
        let why = format!("{} edges came of the {} that were sent", edges.len(), driven.len());
        Proof::nothing(channel, what, why)
    });
    proofs
}

fn counted(channel: String, what: String, count: usize, tolerance: &str) -> Proof {
    match Tolerance::parse(tolerance, Dimension::Count) {
        Ok(tolerance) => Proof::measured(channel, what, &tolerance, Estimate::exact(count as f64)),
        Err(misread) => Proof::nothing(channel, what, misread.what),
    }
}

/// Edges of inputs that no wire of this output leads to. Step, direction and encoder are left out: the lines of a unit
/// without supply float, and a head that rests on a line of its scale trembles.
fn elsewhere(wire: &LoopBack, part: &Part, jig: &JigFile) -> usize {
    use EdgeChannel::{Direction, EncoderA, EncoderB, Step};
    let pressed = match wire.from {
        OutputChannel::Press(control) => EdgeChannel::control(control),
        _ => None,
    };
    let wired = |channel: EdgeChannel| {
        jig.references.loop_backs.iter().any(|other| other.from == wire.from && other.to == channel)
    };
    let watched = jig.edges.iter().map(|input| input.channel).filter(|channel| {
        !matches!(channel, Step | Direction | EncoderA | EncoderB) && Some(*channel) != pressed && !wired(*channel)
    });
    watched.map(|channel| part.edges(channel).len()).sum()
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

    /// Three pulses, seen so many ticks later; `spoil` changes what was seen.
    fn decided(delay: u64, spoil: impl Fn(&mut Part)) -> Vec<Option<Decision>> {
        let jig = jig();
        let wire = LoopBack { pulses: 3, ..jig.references.loop_backs[0].clone() };
        let mut part = Part::default();
        for switch in 0..6 {
            let (at, on) = (1000 + switch * 40_000, switch % 2 == 0);
            part.driven.push(Driven { at, output: wire.from, on });
            part.push_edge(wire.to, at + delay, on);
        }
        spoil(&mut part);
        proofs(&wire, &part, &jig).iter().map(Proof::decision).collect()
    }

    #[test]
    fn a_pulse_that_is_lost_doubled_late_or_elsewhere_is_told() {
        let (good, bad) = (Some(Decision::Conforms), Some(Decision::DoesNotConform));
        let to = jig().references.loop_backs[0].to;
        assert_eq!(decided(3, |_| {}), [good, good, good]);
        assert_eq!(decided(20_000, |_| {}), [good, good, bad], "10 ms late");
        assert_eq!(decided(3, |part| part.edges[to as usize].truncate(4)), [bad, good, bad]);
        assert_eq!(decided(3, |part| part.edges[to as usize].clear()), [bad, good, bad]);
        assert_eq!(decided(3, |part| part.push_edge(to, 900_000, true)), [bad, good, bad]);
        assert_eq!(decided(3, |part| part.push_edge(EdgeChannel::Control2, 9000, true)), [good, bad, good]);
        assert_eq!(decided(3, |part| part.push_edge(EdgeChannel::EncoderA, 9000, true)), [good, good, good]);
    }

    #[test]
    fn a_count_is_shown_as_one() {
        let jig = jig();
        let proofs = proofs(&jig.references.loop_backs[0], &Part::default(), &jig);
        let Found::Measured { estimate, tolerance, .. } = &proofs[0].found else { panic!("a count") };
        assert_eq!((estimate.value, estimate.standard_uncertainty(), tolerance.unit().symbol()), (0.0, 0.0, ""));
    }
}
