//! The end stops: how fast the unit reacts to a contact, how the contact bounces, how far the carriage goes on, how well
//! it repeats, and whether it comes at all.

use super::evidence::{CheckEvidence, Contact, PhaseEvidence};
use super::position::{Position, distance};
use super::values::{count, encoder_scale, interval, never_closed, reading, seconds, without_noise};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{EdgeChannel, Side};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate, deviation_uncertainty, summary};

const SWITCHES: &[EdgeChannel] = &[EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop];

pub(super) const RESPONSE: Measurand = Measurand {
    name: "end-stop response",
    dimension: Dimension::Time,
    about: "from the first contact of an end switch to the first lengthened step interval",
    source: "common practice",
    edges: &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop],
    samples: &[],
    pooling: Pooling::Worst,
    reader: response,
};

pub(super) const BOUNCE: Measurand = Measurand {
    name: "end-stop bounce",
    dimension: Dimension::Time,
    about: "from the first contact of an end switch to the last edge of its chatter; edges more than 10 ms apart are none",
    source: "common practice",
    edges: SWITCHES,
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, setup| each_hit(check, |contact| Some(Ok(interval((contact.quiet - contact.at) as f64, setup)))),
};

pub(super) const BOUNCES: Measurand = Measurand {
    name: "end-stop bounces",
    dimension: Dimension::Count,
    about: "how often the contact of an end switch opens again in its chatter; edges more than 10 ms apart are none",
    source: "common practice",
    edges: SWITCHES,
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, _| each_hit(check, |contact| Some(Ok(count(contact.openings)))),
};

pub(super) const OVERRUN: Measurand = Measurand {
    name: "end-stop overrun",
    dimension: Dimension::Length,
    about: "way of the carriage from the first contact of an end switch to the farthest point behind it",
    source: "common practice",
    edges: &[EdgeChannel::EncoderA, EdgeChannel::EncoderB, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop],
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, setup| each_hit(check, |contact| Some(Ok(distance(&contact.position, &contact.farthest, setup)))),
};

pub(super) const REPEATABILITY: Measurand = Measurand {
    name: "end-stop repeatability",
    dimension: Dimension::Length,
    about: "standard deviation of the carriage's position at the first contact, over at least three contacts of one end",
    source: "common practice; standard deviation with n − 1",
    edges: &[EdgeChannel::EncoderA, EdgeChannel::EncoderB, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop],
    samples: &[],
    pooling: Pooling::Mean,
    reader: repeatability,
};

pub(super) const MISSED: Measurand = Measurand {
    name: "missed end stops",
    dimension: Dimension::Count,
    about: "1 where a move to an end ended without its switch having closed, else 0",
    source: "common practice",
    edges: SWITCHES,
    samples: &[],
    pooling: Pooling::Worst,
    reader: missed,
};

/// One reading for each phase that should run into a switch. A carriage that rested in the switch already gives none.
fn each_hit(check: &CheckEvidence, value: impl Fn(&Contact) -> Option<Result<Estimate, Withheld>>) -> Vec<Reading> {
    hits(check)
        .filter_map(|(phase, side)| {
            let switch = phase.switch(side);
            let result = match &switch.contact {
                Some(contact) => value(contact)?,
                None if switch.pressed_before => return None,
                None => Err(never_closed(side)),
            };
            Some(reading(phase, result))
        })
        .collect()
}

fn hits(check: &CheckEvidence) -> impl Iterator<Item = (&PhaseEvidence, Side)> {
    check.phases.iter().filter_map(|phase| Some((phase, phase.should_hit()?)))
}

fn response(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    each_hit(check, |contact| {
        let knee = contact.knee?;
        Some(Ok(interval(knee.after, setup).with("ramp", seconds(knee.uncertainty, setup))))
    })
}

fn repeatability(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    [Side::Left, Side::Right]
        .into_iter()
        .filter_map(|side| {
            let wanted = hits(check).filter(|hit| hit.1 == side);
            let (mut positions, mut missing) = (Vec::new(), false);
            for (phase, _) in wanted {
                let switch = phase.switch(side);
                positions.extend(switch.contact.map(|contact| contact.position));
                missing |= switch.contact.is_none() && !switch.pressed_before;
            }
            let result = match scatter(&positions, setup) {
                Some(scatter) => Ok(scatter),
                None if missing => Err(never_closed(side)),
                None => return None,
            };
            Some(Reading { label: format!("{} end", side.name()), result })
        })
        .collect()
}

/// The standard deviation of positions, what they are in doubt themselves taken out; `None` of fewer than three.
fn scatter(positions: &[Position], setup: &Setup) -> Option<Estimate> {
    /// Two say next to nothing of a scatter.
    const CONTACTS_MIN: usize = 3;
    let places: Vec<f64> = positions.iter().map(|position| position.at).collect();
    let observed = summary::standard_deviation(&places).filter(|_| places.len() >= CONTACTS_MIN)?;
    let (count, per_metre) = (places.len() as f64, setup.jig.encoder_edges_per_metre);
    let noise = positions.iter().map(|position| position.standard_uncertainty().powi(2)).sum::<f64>() / count;
    let (left, doubt) = without_noise(observed * observed, noise);
    // A standard deviation cannot be off by more than that of the errors: that bounds what cells of the encoder hide.
    let hidden = if positions.iter().any(|position| position.running.is_none()) {
        Component::rectangular("cells of the encoder", 0.5 * (count / (count - 1.0)).sqrt() / per_metre)
    } else {
        Component::normal("moments in cells", doubt / per_metre)
    };
    let (value, freedom) = (left / per_metre, count - 1.0);
    let sampling = observed / per_metre * deviation_uncertainty(freedom);
    Some(Estimate::of(value).and(hidden).with_freedom("sampling", sampling, freedom).and(encoder_scale(value, setup)))
}

fn missed(check: &CheckEvidence, _: &Setup) -> Vec<Reading> {
    hits(check)
        .map(|(phase, side)| {
            let switch = phase.switch(side);
            let missed = switch.contact.is_none() && !switch.pressed_before;
            reading(phase, Ok(count(usize::from(missed))))
        })
        .collect()
}
