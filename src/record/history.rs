//! What became of a unit: its runs and events in their order, told apart.
//!
//! A pure function of what the index and the file of events know. Order is that of cause: a run comes after those that it
//! names as its predecessors, an event after the run that it names, whatever a clock said that was set back.

use super::events::{Event, What};
use super::index::Known;
use super::stored::{Part, Verdict};
use std::collections::{BTreeMap, BTreeSet};

/// The history of a serial number.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    pub serial: String,
    pub entries: Vec<Entry>,
    pub standing: Standing,
    /// The last conforming record before the last dispatch.
    pub as_shipped: Option<String>,
    /// The parts that it has now.
    pub as_built: Vec<Built>,
}

/// A run or an event.
#[derive(Debug, Clone, PartialEq)]
pub enum Entry {
    Run(Box<Passed>),
    Event(Event),
}

/// A run and what it is among the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Passed {
    pub run: Known,
    pub kind: Kind,
    /// Parts that changed since the run before.
    pub changes: Vec<Change>,
    /// Whether it ended, so the clock says, before a run began that came before it.
    pub clock_was_set_back: bool,
}

/// What a run is among those of its unit. Simulated runs and real ones do not count for each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The first of its plan.
    First,
    /// The same plan again after runs that proved nothing.
    AfterInvalid,
    /// The same plan again after it had not been met, and no part changed.
    Retest,
    /// After a part was changed.
    Rework,
    /// The same plan again although it had been met.
    Repeat,
}

impl Kind {
    /// Its word for programs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::First => "first",
            Self::AfterInvalid => "after invalid",
            Self::Retest => "retest",
            Self::Rework => "rework",
            Self::Repeat => "repeat",
        }
    }
}

/// A part that was changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    pub name: String,
    pub from: String,
    pub to: String,
}

/// A part of the unit as it is now.
#[derive(Debug, Clone, PartialEq)]
pub struct Built {
    pub part: Part,
    /// Id of the run whose record first had it.
    pub since: String,
}

/// Where a unit is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// It was never dispatched.
    OnTheShelf,
    /// At the time given.
    Shipped(String),
    /// At the time given.
    Returned(String),
}

impl History {
    /// Of runs and events in any order of the runs and the order of the events.
    pub fn of(serial: &str, runs: Vec<Known>, events: Vec<Event>) -> Self {
        let mut as_built = BTreeMap::<String, Built>::new();
        let mut passed = Vec::<Passed>::new();
        for run in in_order(runs) {
            let changes = build(&mut as_built, &run);
            let kind = kind(&passed, &run, &changes);
            let clock_was_set_back = passed.iter().any(|earlier| earlier.run.started > run.ended);
            passed.push(Passed { run, kind, changes, clock_was_set_back });
        }
        let dispatch = events.iter().rev().find(|event| event.event == What::Dispatched);
        let standing = match events.last() {
            None => Standing::OnTheShelf,
            Some(event) if event.event == What::Dispatched => Standing::Shipped(event.at.clone()),
            Some(event) => Standing::Returned(event.at.clone()),
        };
        Self {
            serial: serial.to_owned(),
            standing,
            as_shipped: dispatch.and_then(|event| event.as_shipped.clone()),
            entries: merged(passed, &events),
            as_built: as_built.into_values().collect(),
        }
    }

    /// Its runs, oldest first.
    pub fn runs(&self) -> impl DoubleEndedIterator<Item = &Passed> {
        self.entries.iter().filter_map(|entry| match entry {
            Entry::Run(passed) => Some(&**passed),
            Entry::Event(_) => None,
        })
    }
}

/// By ids, which sort by time, but never before a run that came earlier: of those that may be next, the one of the lowest
/// id. A circle, which no honest record makes, ends with the rest by ids.
fn in_order(mut runs: Vec<Known>) -> Vec<Known> {
    runs.sort_by(|one, other| one.id.cmp(&other.id));
    if runs.iter().all(|run| run.late_after.is_empty()) {
        return runs;
    }
    let mut waiting: BTreeSet<String> = runs.iter().map(|run| run.id.clone()).collect();
    let mut ordered = Vec::with_capacity(runs.len());
    while !runs.is_empty() {
        let may_be_next = |run: &Known| run.late_after.iter().all(|earlier| !waiting.contains(earlier));
        let next = runs.remove(runs.iter().position(may_be_next).unwrap_or(0));
        waiting.remove(&next.id);
        ordered.push(next);
    }
    ordered
}

/// Brings the parts up to what a run's record says. What it does not name carries on.
fn build(as_built: &mut BTreeMap<String, Built>, run: &Known) -> Vec<Change> {
    let mut changes = Vec::new();
    for part in &run.parts {
        let built = Built { part: part.clone(), since: run.id.clone() };
        match as_built.get(&part.name) {
            Some(before) if before.part.lot == part.lot => continue,
            Some(before) => {
                let (from, to) = (before.part.lot.clone(), part.lot.clone());
                changes.push(Change { name: part.name.clone(), from, to });
            }
            None => {}
        }
        as_built.insert(part.name.clone(), built);
    }
    changes
}

fn kind(passed: &[Passed], run: &Known, changes: &[Change]) -> Kind {
    let mut of_the_plan = passed
        .iter()
        .map(|earlier| &earlier.run)
        .filter(|earlier| earlier.plan == run.plan && earlier.is_simulated == run.is_simulated);
    if !changes.is_empty() {
        return Kind::Rework;
    }
    let proved = of_the_plan.clone().rfind(|earlier| earlier.decision != Verdict::Invalid);
    match proved.map(|earlier| earlier.decision) {
        None if of_the_plan.next().is_none() => Kind::First,
        None => Kind::AfterInvalid,
        Some(Verdict::Conforms) => Kind::Repeat,
        Some(_) => Kind::Retest,
    }
}

/// Events behind the runs that they name; one whose run is not there keeps its place among the events.
fn merged(passed: Vec<Passed>, events: &[Event]) -> Vec<Entry> {
    let ids: Vec<String> = passed.iter().map(|passed| passed.run.id.clone()).collect();
    let mut entries = Vec::with_capacity(passed.len() + events.len());
    let mut runs = passed.into_iter().map(|passed| Entry::Run(Box::new(passed)));
    let mut taken = 0;
    for event in events {
        let place = event.after.as_ref().and_then(|after| ids.iter().position(|id| id == after));
        let upto = place.map_or(taken, |place| (place + 1).max(taken));
        entries.extend(runs.by_ref().take(upto - taken));
        taken = upto;
        entries.push(Entry::Event(event.clone()));
    }
    entries.extend(runs);
    entries
}

#[cfg(test)]
mod tests;
