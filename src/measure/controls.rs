//! The contacts of the controls: how they bounce, and how soon the unit acts once they have closed.

use super::evidence::{CheckEvidence, PressEvidence, Touch};
use super::values::{bench, count, interval, unit};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::EdgeChannel;
use crate::quantity::Dimension;
use crate::stats::Estimate;

/// The first control's contact stands for all: which of them a check presses is seen only when it has.
const CONTACTS: &[EdgeChannel] = &[EdgeChannel::Control1];

pub(super) const BOUNCE: Measurand = Measurand {
    name: "control bounce",
    dimension: Dimension::Time,
    about: "from the first contact of a pressed control to the last edge of its line before the jig lets go",
    source: "common practice",
    edges: CONTACTS,
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, setup| each_touch(check, setup, |touch| interval((touch.quiet - touch.at) as f64, setup)),
};

pub(super) const BOUNCES: Measurand = Measurand {
    name: "control bounces",
    dimension: Dimension::Count,
    about: "how often the contact of a control opens again while the jig holds it pressed",
    source: "common practice",
    edges: CONTACTS,
    samples: &[],
    pooling: Pooling::Worst,
    reader: |check, setup| each_touch(check, setup, |touch| count(touch.openings)),
};

/// One reading for each press.
fn each_touch(check: &CheckEvidence, setup: &Setup, value: impl Fn(&Touch) -> Estimate) -> Vec<Reading> {
    let presses = check.phases.iter().flat_map(|phase| phase.presses.iter().map(move |press| (phase, press)));
    presses
        .map(|(phase, press)| Reading {
            label: format!("{}, control {}", phase.phase.label, press.control + 1),
            result: touched(press, setup).map(&value),
        })
        .collect()
}

/// What the contact of a pressed control did, or whose fault it is that nobody knows.
pub(super) fn touched<'a>(press: &'a PressEvidence, setup: &Setup) -> Result<&'a Touch, Withheld> {
    let channel = EdgeChannel::control(press.control).filter(|channel| setup.jig.edges.contains(channel));
    if channel.is_none() {
        return Err(bench(format!("the jig has no channel `control {}`", press.control + 1)));
    }
    press.touch.as_ref().ok_or_else(|| unit(format!("the contact of control {} never closed", press.control + 1)))
}
