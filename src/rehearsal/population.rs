//! A population file: how far the units of a model differ from each other, which faults occur, how often and how severe, and
//! from which severity on a fault breaks a promise to the buyer.

use crate::quantity::{Dimension, Quantity};
use crate::sim::{Fault, FaultKind, Parameter, Spread};
use crate::study::rehearse::FaultFacts;
use crate::written::{Fields, Map, Mistake, Node, Notes, Problem, Source, nearest, read};

/// The units of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Population {
    /// Its name.
    pub name: String,
    /// The model of unit.
    pub model: String,
    /// How far its units differ.
    pub spread: Spread,
    /// What can be wrong with them.
    pub faults: Vec<Occurrence>,
}

/// A fault of a population.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Occurrence {
    /// What is wrong.
    pub kind: FaultKind,
    /// Share of the units that have it.
    pub often: f64,
    /// From which to which severity, evenly.
    pub severity: (f64, f64),
    /// From which severity on it breaks a promise to the buyer.
    pub breaks_from: f64,
}

impl Population {
    /// Reads a population file.
    ///
    /// # Errors
    /// All that is wrong with it.
    pub fn read(source: &Source) -> Result<Self, Vec<Problem>> {
        let notes = Notes::on(source);
        let population = read(&notes).and_then(|root| whole(&root, &notes));
        notes.finish(population)
    }
}

impl Occurrence {
    /// As a rehearsal states it.
    pub fn facts(&self) -> FaultFacts {
        FaultFacts {
            name: self.kind.name().to_owned(),
            explanation: self.kind.explanation().to_owned(),
            often: self.often,
            breaks_from: self.breaks_from,
            all_or_nothing: self.kind.is_all_or_nothing(),
        }
    }

    /// Whether a fault of this severity breaks a promise.
    pub fn breaks(&self, severity: f64) -> bool {
        severity > 0.0 && (self.kind.is_all_or_nothing() || severity >= self.breaks_from)
    }
}

fn whole(root: &Node, notes: &Notes) -> Option<Population> {
    let file = Fields::of(root, "a population file", "population: dunlin-600", notes)?;
    let name = file.need_word("population", "dunlin-600").map(|word| word.text.clone());
    let model = file.need_word("model", "dunlin-600").map(|word| word.text.clone());
    let spread = file.need("spread", "{ motor holding torque: 3 % }").and_then(|node| map(node, "spread", notes));
    let faults = file.need("faults", "{ weak-pack: { often: 0.5 % } }").and_then(|node| map(node, "faults", notes));
    file.end();
    let spread = spread.map(|map| spreads(map, notes));
    let faults = faults.map(|map| occurrences(map, notes));
    Some(Population { name: name?, model: model?, spread: spread?, faults: faults? })
}

fn map<'n>(node: &'n Node, key: &str, notes: &Notes) -> Option<&'n Map> {
    match node {
        Node::Map(map) => Some(map),
        other => {
            notes.add(
                other.at(),
                format!("`{key}` wants a map, but this is {}", other.kind()),
                "write `name: value`, one a line",
            );
            None
        }
    }
}

/// Parameters that are not named do not differ.
fn spreads(map: &Map, notes: &Notes) -> Spread {
    let mut spread = Spread::NONE;
    for (key, node) in &map.entries {
        let Some(parameter) = Parameter::all().find(|parameter| parameter.name() == key.text) else {
            let meant = nearest(&key.text, Parameter::all().map(Parameter::name));
            let right = meant.map_or_else(
                || {
                    format!(
                        "the parameters are {}",
                        Parameter::all().map(Parameter::name).collect::<Vec<_>>().join(", ")
                    )
                },
                |meant| format!("did you mean `{meant}`?"),
            );
            notes.add(&key.at, format!("units have no parameter `{}`", key.text), right);
            continue;
        };
        let Node::Scalar(word) = node else {
            notes.add(
                node.at(),
                format!("a spread is a single value, but this is {}", node.kind()),
                format!("write for example `{}`", parameter.dimension().example()),
            );
            continue;
        };
        if let Some(value) = word.understood(notes, |text| spread_of(text, parameter)) {
            spread.set(parameter, value);
        }
    }
    spread
}

fn spread_of(text: &str, parameter: Parameter) -> Result<f64, Mistake> {
    let quantity =
        Quantity::parse(text, parameter.dimension()).map_err(|misread| Mistake::new(misread.what, misread.right))?;
    let most = parameter.spread_max();
    if (0.0..=most).contains(&quantity.si()) {
        return Ok(quantity.si());
    }
    let what = format!("`{text}` is no spread that this parameter can have");
    Err(Mistake::new(what, format!("write from nothing to `{}`", Quantity::new(most, quantity.unit()))))
}

fn occurrences(map: &Map, notes: &Notes) -> Vec<Occurrence> {
    let mut faults = Vec::new();
    let kinds = || Fault::ALL.into_iter().filter(|kind| !kind.is_of_jig());
    for (key, node) in &map.entries {
        match kinds().find(|kind| kind.name() == key.text) {
            Some(kind) => faults.extend(occurrence(kind, node, notes)),
            None if FaultKind::named(&key.text).is_some() => {
                notes.add(
                    &key.at,
                    format!("`{}` is a fault of the jig", key.text),
                    "leave it out; `railproof jig check` finds it",
                );
            }
            None => {
                let right = nearest(&key.text, kinds().map(FaultKind::name)).map_or_else(
                    || format!("the faults are {}", kinds().map(FaultKind::name).collect::<Vec<_>>().join(", ")),
                    |meant| format!("did you mean `{meant}`?"),
                );
                notes.add(&key.at, format!("there is no fault `{}`", key.text), right);
            }
        }
    }
    faults
}

fn occurrence(kind: FaultKind, node: &Node, notes: &Notes) -> Option<Occurrence> {
    let fields = Fields::of(node, "a fault", "weak-pack: { often: 0.5 %, severity: between 0.2 and 1 }", notes)?;
    let often = fields.need_parsed("often", "0.5 %", |text| share(text, "0.5 %", true));
    let graded = ["severity", "breaks a promise from"];
    if kind.is_all_or_nothing() {
        for key in graded {
            if let Some(node) = fields.node(key) {
                notes.add(node.at(), "this fault is there or not, without degrees", format!("leave `{key}` out"));
            }
        }
        fields.end();
        return Some(Occurrence { kind, often: often?, severity: (1.0, 1.0), breaks_from: 0.0 });
    }
    let severity = match fields.node(graded[0]) {
        Some(_) => fields.parsed(graded[0], "between 0.2 and 1", severities),
        None => Some((0.0, 1.0)),
    };
    let breaks_from = match fields.node(graded[1]) {
        Some(_) => fields.parsed(graded[1], "0.6", |text| share(text, "0.6", false)),
        None => Some(1.0),
    };
    fields.end();
    Some(Occurrence { kind, often: often?, severity: severity?, breaks_from: breaks_from? })
}

/// From 0 to 1, as a ratio or in per cent.
fn share(text: &str, example: &str, may_be_none: bool) -> Result<f64, Mistake> {
    let wrong =
        || Mistake::new(format!("`{text}` does not lie between 0 and 1"), format!("write for example `{example}`"));
    let value = match text.parse::<f64>() {
        Ok(plain) => plain,
        Err(_) => {
            Quantity::parse(text, Dimension::Ratio).map_err(|misread| Mistake::new(misread.what, misread.right))?.si()
        }
    };
    let fits = (0.0..=1.0).contains(&value) && (may_be_none || value > 0.0);
    fits.then_some(value).ok_or_else(wrong)
}

fn severities(text: &str) -> Result<(f64, f64), Mistake> {
    let example = "write for example `between 0.2 and 1`";
    let both = text.trim().strip_prefix("between").and_then(|rest| rest.split_once(" and "));
    let (low, high) = both.ok_or_else(|| Mistake::new(format!("`{text}` is no range of severities"), example))?;
    let (low, high) = (share(low.trim(), "0.2", true)?, share(high.trim(), "1", false)?);
    if low > high {
        return Err(Mistake::new(format!("`{text}` ends below where it begins"), example));
    }
    Ok((low, high))
}
