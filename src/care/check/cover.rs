//! Which channels of a jig a check looked at, and by what. A channel that nobody looked at is named.

use super::{Found, Proof};
use crate::capture::{Action, EdgeChannel, SampleChannel};
use crate::jig::JigFile;
use crate::measure::Measurand;
use crate::plan::Plan;

/// A channel with what it was held against.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Covered {
    /// Its name in the jig file; `clock` for the jig's clock.
    pub channel: String,
    /// Findings on references, and requirements on the reference unit that rest on it; empty where it was not checked.
    pub by: Vec<String>,
}

/// Every channel of a jig. `plan` is the one that was carried out on the reference unit, if any was.
pub fn cover(jig: &JigFile, plan: Option<&Plan>, proofs: &[Proof]) -> Vec<Covered> {
    let channels = std::iter::once("clock".to_owned())
        .chain(jig.edges.iter().map(|input| input.channel.name().to_owned()))
        .chain(jig.samples.iter().map(|input| input.channel.name()));
    channels
        .map(|channel| {
            let found = proofs.iter().filter(|proof| !matches!(proof.found, Found::NotChecked { .. }));
            let mut by: Vec<String> =
                found.filter(|proof| proof.is_about(&channel)).map(|proof| proof.what.clone()).collect();
            by.extend(plan.into_iter().flat_map(|plan| rests_on(plan, &channel)));
            Covered { channel, by }
        })
        .collect()
}

/// The measurands that a plan requires and that are read from a channel. Measurands of the light bar and of the controls name
/// the first of their channels for all: of the controls, those count that the plan presses.
fn rests_on(plan: &Plan, channel: &str) -> Vec<String> {
    let of_light = channel.strip_prefix("light ").is_some_and(|number| number.parse::<u8>().is_ok());
    let pressed = EdgeChannel::named(channel).filter(|edge| presses(plan).any(|control| control == Some(*edge)));
    let reads = |measurand: &Measurand| {
        let edge = |edge: &EdgeChannel| match *edge {
            EdgeChannel::Control1 => pressed.is_some(),
            edge => edge.name() == channel,
        };
        let sample = |sample: &SampleChannel| match *sample {
            SampleChannel::Light(_) => of_light,
            sample => sample.name() == channel,
        };
        measurand.edges.iter().any(edge) || measurand.samples.iter().any(sample)
    };
    let required = plan.checks.iter().flat_map(|check| &check.requirements).map(|required| required.measurand);
    let mut names: Vec<String> = required.filter(|one| reads(one)).map(|one| one.name.to_owned()).collect();
    names.sort_unstable();
    names.dedup();
    names
}

/// The contacts of the controls that a plan presses.
fn presses(plan: &Plan) -> impl Iterator<Item = Option<EdgeChannel>> {
    let moves = plan.checks.iter().flat_map(|check| &check.moves);
    let pressed = moves.flat_map(|planned| match planned.action {
        Action::Press { control } => [Some(control), None],
        Action::Stop { press, .. } => [press, None],
        Action::Start { press, stop_press, .. } => [Some(press), stop_press],
        _ => [None, None],
    });
    pressed.flatten().map(EdgeChannel::control)
}
