//! The end stops: how fast the unit reacts to a contact, how the contact bounces, how far the carriage goes on, how well
//! it repeats, and whether it comes at all.

use super::evidence::{CheckEvidence, Contact, PhaseEvidence};
use super::values::{RECTANGULAR, count, encoder_scale, interval, length, reading, seconds, unit};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{EdgeChannel, Side};
use crate::quantity::Dimension;
use crate::stats::{Estimate, summary};

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

pub(super) const OVERRUN: Measurand = Measurand {
    name: "end-stop overrun",
    dimension: Dimension::Length,
    about: "way of the carriage from the first contact of an end switch to the farthest point behind it",
    source: "common practice",
    edges: &[EdgeChannel::EncoderA, EdgeChannel::EncoderB, EdgeChannel::LeftEndStop, EdgeChannel::RightEndStop],
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, setup| each_hit(check, |contact| Some(Ok(length(contact.overrun, setup)))),
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

fn never_closed(side: Side) -> Withheld {
    unit(format!("the {} end switch never closed", side.name()))
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
            let result = match summary::standard_deviation(&positions) {
                Some(deviation) if positions.len() >= 3 => Ok(scatter(deviation, positions.len(), setup)),
                _ if missing => Err(never_closed(side)),
                _ => return None,
            };
            Some(Reading { label: format!("{} end", side.name()), result })
        })
        .collect()
}

/// A standard deviation of positions. Its own relative doubt is 1/√(2(n − 1)) (JCGM 100:2008, E.4.3).
fn scatter(deviation: f64, readings: usize, setup: &Setup) -> Estimate {
    let per_metre = setup.jig.encoder_edges_per_metre;
    let freedom = readings as f64 - 1.0;
    let value = deviation / per_metre;
    Estimate::of(value)
        .with("resolution", RECTANGULAR / per_metre / (readings as f64).sqrt())
        .with_freedom("sampling", value / (2.0 * freedom).sqrt(), freedom)
        .and(encoder_scale(value, setup))
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
