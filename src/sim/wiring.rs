//! What of a bench is wired for its own check: wires from outputs to inputs, and references that an output switches to a
//! sampled channel.

use super::chance::{Chance, Stream};
use crate::capture::{EdgeChannel, OutputChannel, SampleChannel};

/// How a bench is wired for its own check.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CheckWiring {
    /// A wire from an output to an input.
    pub loop_backs: Vec<(OutputChannel, EdgeChannel)>,
    /// References that are switched to a channel.
    pub references: Vec<SwitchedReference>,
}

/// A known value that an output switches to a sampled channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwitchedReference {
    /// The output.
    pub by: OutputChannel,
    /// The channel that then sees the value instead of the unit's.
    pub channel: SampleChannel,
    /// What its certificate says.
    pub value: f64,
    /// Standard uncertainty of that: the true value differs by as much.
    pub uncertainty: f64,
}

/// The wiring of one bench, with what is switched on.
#[derive(Debug, Clone)]
pub(super) struct Wiring {
    loop_backs: Vec<(OutputChannel, EdgeChannel)>,
    /// With their true values.
    references: Vec<SwitchedReference>,
    on: [bool; OutputChannel::COUNT],
}

impl Wiring {
    pub fn new(wiring: &CheckWiring, seed: u64) -> Self {
        let chance = &mut Chance::new(seed ^ 0x0c4e, Stream::Jig);
        let real = |stated: &SwitchedReference| {
            let value = stated.value + stated.uncertainty * chance.deviate();
            SwitchedReference { value, ..*stated }
        };
        let references = wiring.references.iter().map(real).collect();
        Self { loop_backs: wiring.loop_backs.clone(), references, on: [false; OutputChannel::COUNT] }
    }

    /// Switches an output; hands out the inputs that see it change.
    pub fn switch(&mut self, output: OutputChannel, on: bool) -> Vec<EdgeChannel> {
        let changed = std::mem::replace(&mut self.on[output.index()], on) != on;
        let inputs = self.loop_backs.iter().filter(|(from, _)| changed && *from == output);
        inputs.map(|(_, to)| *to).collect()
    }

    pub fn is_on(&self, output: OutputChannel) -> bool {
        self.on[output.index()]
    }

    /// Channels that an output switches a reference to, with its true value.
    pub fn references(&self, output: OutputChannel) -> impl Iterator<Item = (SampleChannel, f64)> {
        self.references.iter().filter(move |one| one.by == output).map(|one| (one.channel, one.value))
    }
}
