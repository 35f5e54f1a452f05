//! What a jig has worn since each of its parts was renewed, and what to do about it.
//!
//! A worn part is told, not refused: a relay past its rated cycles may switch for years, and whether a channel is true is
//! for its calibration and for the check against its reference to say.

use super::Usage;
use super::logbook::stored::{Entry, Line, Use};
use crate::jig::{JigFile, JigKind, WearLimit, WearPart};
use std::collections::BTreeMap;

/// Part of its limit from which on wear is told (common practice, no source).
const NEARLY: f64 = 0.9;

/// What the parts of a jig have behind them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Worn {
    /// Amount by part: cycles, runs or metres.
    amounts: BTreeMap<String, f64>,
    /// When a part was renewed last, by part.
    renewed: BTreeMap<String, String>,
}

/// A part that is nearly worn, or is.
#[derive(Debug, Clone, PartialEq)]
pub struct Due {
    /// The part with its limit.
    pub limit: WearLimit,
    /// What it has behind it.
    pub amount: f64,
}

impl Worn {
    /// Counts the lines of a logbook. What a simulated bench did wears no real jig, and the other way round.
    pub fn of(jig: &JigFile, lines: &[Line]) -> Self {
        let of_this_world = |line: &&Line| line.simulated == (jig.kind == JigKind::Simulated);
        let mut worn = Self::default();
        for line in lines {
            match &line.entry {
                Entry::Use(used) if of_this_world(&line) => worn.used(used),
                Entry::Note(note) => {
                    for part in &note.renewed {
                        worn.amounts.remove(part);
                        worn.renewed.insert(part.clone(), line.time.clone());
                    }
                }
                Entry::Use(_) | Entry::Check(_) => {}
            }
        }
        worn
    }

    fn used(&mut self, used: &Use) {
        let cycles = used.cycles.iter().map(|(output, cycles)| (output.clone(), *cycles as f64));
        let others = [(WearPart::Contacts.name(), used.runs as f64), (WearPart::Encoder.name(), used.metres)];
        for (part, amount) in cycles.chain(others) {
            *self.amounts.entry(part).or_default() += amount;
        }
    }

    /// What a part has behind it: cycles, runs or metres.
    pub fn amount(&self, part: WearPart) -> f64 {
        self.amounts.get(&part.name()).copied().unwrap_or(0.0)
    }

    /// When a part was renewed last, if ever.
    pub fn renewed(&self, part: WearPart) -> Option<&str> {
        self.renewed.get(&part.name()).map(String::as_str)
    }

    /// The parts that have reached nine tenths of their limit, in the jig file's order.
    pub fn due(&self, jig: &JigFile) -> Vec<Due> {
        let due = |limit: &WearLimit| Due { limit: *limit, amount: self.amount(limit.part) };
        jig.wear.iter().map(due).filter(|due| due.amount >= NEARLY * due.limit.limit).collect()
    }
}

impl Due {
    /// Whether the limit is passed.
    pub fn is_past(&self) -> bool {
        self.amount > self.limit.limit
    }

    /// In words, with what to do.
    pub fn words(&self) -> String {
        let part = self.limit.part;
        let (name, amount, limit) = (part.name(), part.amount(self.amount), part.amount(self.limit.limit));
        if self.is_past() {
            format!(
                "the jig's `{name}` is past its limit of wear, {amount} of {limit}: renew it, then note that by \
                 `railproof jig note --renewed \"{name}\"`"
            )
        } else {
            format!("the jig's `{name}` is nearly worn, {amount} of {limit}: have a new one at hand")
        }
    }
}

/// What a session cost the jig, as its logbook keeps it.
pub fn used(usage: &Usage, jig: &JigFile, run: &str, unit: Option<&str>) -> Use {
    let edges_per_metre = jig.encoder.as_ref().map(|encoder| encoder.edges_per_metre);
    Use {
        run: run.to_owned(),
        unit: unit.map(str::to_owned),
        runs: u64::from(unit.is_some()),
        cycles: usage.closings().map(|(output, cycles)| (output.name(), cycles)).collect(),
        traverses: usage.traverses(),
        metres: edges_per_metre.map_or(0.0, |per_metre| usage.encoder_edges() as f64 / per_metre),
    }
}

#[cfg(test)]
mod tests {
    use super::super::logbook::stored::{Note, VERSION};
    use super::*;
    use crate::written::Source;

    fn jig(kind: &str) -> JigFile {
        let text = include_str!("../../fixtures/jigs/simulated.yaml")
            .replace("kind: simulated", &format!("kind: {kind}"))
            + "\nwear: { unit supply: 100 cycles, contacts: 10 runs, encoder: 1 km }\n";
        JigFile::read(&Source::new("jig.yaml", text)).unwrap_or_else(|problems| panic!("{}", problems[0]))
    }

    fn line(simulated: bool, entry: Entry) -> Line {
        Line { version: VERSION, time: "2026-11-28T06:00:00Z".into(), simulated, entry }
    }

    fn run(supply: u64) -> Entry {
        let cycles = [("unit supply".to_owned(), supply)].into();
        Entry::Use(Use { run: "1".into(), unit: Some("SM-0001".into()), runs: 1, cycles, traverses: 2, metres: 100.0 })
    }

    fn told(jig: &JigFile, lines: &[Line]) -> Vec<(String, bool)> {
        let due = Worn::of(jig, lines).due(jig);
        due.iter().map(|due| (due.limit.part.name(), due.is_past())).collect()
    }

    #[test]
    fn wear_is_told_from_nine_tenths_on_and_past_the_limit_until_it_is_renewed() {
        let jig = jig("simulated");
        let mut lines: Vec<Line> = (0..8).map(|_| line(true, run(11))).collect();
        assert_eq!(told(&jig, &lines), []);
        lines.push(line(true, run(2)));
        let nearly = |part: &str| (part.to_owned(), false);
        assert_eq!(told(&jig, &lines), [nearly("unit supply"), nearly("contacts"), nearly("encoder")]);
        lines.extend((0..2).map(|_| line(true, run(5))));
        assert_eq!(told(&jig, &lines), [nearly("unit supply"), ("contacts".into(), true), ("encoder".into(), true)]);
        let note = Note { text: "new ones".into(), by: None, renewed: vec!["contacts".into()] };
        lines.push(line(false, Entry::Note(note)));
        assert_eq!(told(&jig, &lines), [nearly("unit supply"), ("encoder".into(), true)]);
        let worn = Worn::of(&jig, &lines);
        assert_eq!((worn.amount(WearPart::Contacts), worn.amount(WearPart::Encoder)), (0.0, 1100.0));
        assert_eq!(worn.renewed(WearPart::Contacts), Some("2026-11-28T06:00:00Z"));
        lines.push(line(true, run(1)));
        assert_eq!(Worn::of(&jig, &lines).amount(WearPart::Contacts), 1.0);
    }

    #[test]
    fn a_simulated_run_wears_no_real_jig_and_a_real_one_no_simulated() {
        let lines: Vec<Line> = (0..3).map(|number| line(number == 0, run(50))).collect();
        let text = include_str!("../../fixtures/jigs/usb-board.yaml");
        let real = JigFile::read(&Source::new("jig.yaml", text)).unwrap_or_else(|problems| panic!("{}", problems[0]));
        let supply = WearPart::Output(crate::capture::OutputChannel::UnitSupply);
        assert_eq!(Worn::of(&real, &lines).amount(supply), 100.0);
        assert_eq!(Worn::of(&jig("simulated"), &lines).amount(supply), 50.0);
    }
}
