//! What of a jig wears, and after how much it should be renewed. Relays and contacts do not fail on a due date: they fail
//! after so many closings, so a jig that says what its parts are good for can be told in time.

use super::{Encoder, OutputLine, words};
use crate::capture::OutputChannel;
use crate::quantity::Dimension;
use crate::written::{Fields, Mistake, Node, nearest};

/// A part of a jig that wears.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WearPart {
    /// The relay or solenoid of an output: counted in closings.
    Output(OutputChannel),
    /// What every unit is plugged into: counted in runs.
    Contacts,
    /// Head and bearing of the encoder: counted by the way of the carriage, m.
    Encoder,
}

impl WearPart {
    /// Its name in jig files and logbooks.
    pub fn name(self) -> String {
        match self {
            Self::Output(output) => output.name(),
            Self::Contacts => "contacts".into(),
            Self::Encoder => "encoder".into(),
        }
    }

    /// The part with this name.
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "contacts" => Some(Self::Contacts),
            "encoder" => Some(Self::Encoder),
            output => OutputChannel::named(output).map(Self::Output),
        }
    }

    /// An amount of its wear in words: `51 cycles`, `12.5 km`.
    pub fn amount(self, amount: f64) -> String {
        match self {
            Self::Output(_) => format!("{amount:.0} cycles"),
            Self::Contacts => format!("{amount:.0} runs"),
            Self::Encoder => format!("{:.1} km", amount / 1e3),
        }
    }

    /// How a limit on it is written.
    const fn example(self) -> &'static str {
        match self {
            Self::Output(_) => "100000 cycles",
            Self::Contacts => "10000 runs",
            Self::Encoder => "500 km",
        }
    }
}

/// What a part is good for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WearLimit {
    /// The part.
    pub part: WearPart,
    /// Cycles, runs or metres.
    pub limit: f64,
}

/// What a jig file says under `wear`; nothing where it says nothing.
pub(super) fn wear(file: &Fields<'_>, outputs: &[OutputLine], encoder: Option<&Encoder>) -> Vec<WearLimit> {
    let example = "wear: { unit supply: 100000 cycles, contacts: 10000 runs, encoder: 500 km }";
    let map = match file.node("wear") {
        None => return Vec::new(),
        Some(Node::Map(map)) => map,
        Some(other) => {
            let what = format!("`wear` is a map of parts, but this is {}", other.kind());
            file.notes().add(other.at(), what, format!("write `{example}`"));
            return Vec::new();
        }
    };
    let mut limits = Vec::new();
    for (name, node) in &map.entries {
        let Some(part) = name.understood(file.notes(), |text| known(text, outputs, encoder)) else { continue };
        let Node::Scalar(limit) = node else {
            let what = format!("`{}` wants a limit, but this is {}", name.text, node.kind());
            file.notes().add(node.at(), what, format!("write for example `{}: {}`", name.text, part.example()));
            continue;
        };
        let limit = limit.understood(file.notes(), |text| amount(text, part));
        limits.extend(limit.map(|limit| WearLimit { part, limit }));
    }
    limits
}

/// The part of this jig with a name.
fn known(text: &str, outputs: &[OutputLine], encoder: Option<&Encoder>) -> Result<WearPart, Mistake> {
    let outputs = outputs.iter().map(|output| WearPart::Output(output.channel));
    let encoder = encoder.map(|_| WearPart::Encoder);
    let parts: Vec<WearPart> = outputs.chain([WearPart::Contacts]).chain(encoder).collect();
    let found = WearPart::named(text).filter(|part| parts.contains(part));
    found.ok_or_else(|| {
        let names: Vec<String> = parts.iter().map(|part| part.name()).collect();
        let right = match nearest(text, names.iter().map(String::as_str)) {
            Some(meant) => format!("did you mean `{meant}`?"),
            None => format!("the parts that wear here are {}", names.join(", ")),
        };
        Mistake::new(format!("this jig has no part `{text}` that wears"), right)
    })
}

/// A limit in the unit that its part is counted in.
fn amount(text: &str, part: WearPart) -> Result<f64, Mistake> {
    let right = || format!("write for example `{}`", part.example());
    let counted = |unit: &str| {
        let number = text.trim().strip_suffix(unit)?.trim();
        number.parse::<u64>().ok().filter(|count| (1..=1_000_000_000_000).contains(count)).map(|count| count as f64)
    };
    match part {
        WearPart::Output(_) => counted("cycles"),
        WearPart::Contacts => counted("runs"),
        WearPart::Encoder => return words::above_zero(Dimension::Length)(text),
    }
    .ok_or_else(|| Mistake::new(format!("`{text}` is no limit of wear for `{}`", part.name()), right()))
}
