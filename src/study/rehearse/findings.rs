//! All that a rehearsal tells.

use super::checks::{CheckWorth, worths};
use super::rates::{self, FaultRates, PopulationRates, SoundRates};
use super::severity::{self, Severities};
use super::shorter::{Shorter, shorter};
use super::stored::{Rehearsal, Rehearsed, Truth};
use crate::record::stored::Verdict;

/// All that a rehearsal tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Findings {
    /// Units as built.
    pub population: PopulationRates,
    /// Units without a fault.
    pub sound: SoundRates,
    /// Fault by fault.
    pub faults: Vec<FaultRates>,
    /// Check by check.
    pub checks: Vec<CheckWorth>,
    /// Faults that have degrees.
    pub severities: Vec<Severities>,
    /// What could be left out.
    pub shorter: Shorter,
}

impl Findings {
    /// Of a whole rehearsal or a shard.
    pub fn of(Rehearsal { rehearsal, units, .. }: &Rehearsal) -> Self {
        let checks = worths(&rehearsal.checks, units);
        Self {
            population: rates::population(units),
            sound: rates::sound(units),
            faults: rehearsal.faults.iter().map(|fault| rates::of_fault(fault, units)).collect(),
            severities: rehearsal.faults.iter().filter_map(|fault| severity::of_fault(fault, units)).collect(),
            shorter: shorter(&checks, units),
            checks,
        }
    }

    /// Mean bench time of sound units, s.
    pub fn seconds(&self) -> Option<f64> {
        self.checks.iter().map(|check| check.seconds).sum()
    }

    /// Broken units of the rehearsal that would be shipped.
    pub fn escapes(rehearsal: &Rehearsal) -> impl Iterator<Item = &Rehearsed> {
        rehearsal.units.iter().filter(|unit| unit.truth == Truth::Broken && unit.decision == Verdict::Conforms)
    }

    /// Sound units that would not be.
    pub fn held_up(rehearsal: &Rehearsal) -> impl Iterator<Item = &Rehearsed> {
        rehearsal.units.iter().filter(|unit| unit.truth == Truth::Sound && unit.decision != Verdict::Conforms)
    }
}

#[cfg(test)]
mod tests {
    use super::super::*;
    use super::*;

    /// A unit whose checks came out as these letters say: conforms, undecided, does not, invalid.
    fn unit(number: u64, fault: Option<(&str, f64)>, truth: Truth, checks: &str) -> Rehearsed {
        let told = |letter| match letter {
            'c' => Verdict::Conforms,
            'u' => Verdict::Undecided,
            'd' => Verdict::DoesNotConform,
            _ => Verdict::Invalid,
        };
        let checks: Vec<ToldCheck> = checks
            .chars()
            .enumerate()
            .map(|(check, letter)| {
                let because = if letter == 'c' { Vec::new() } else { vec![0] };
                ToldCheck { decision: told(letter), ms: 1000 * (check as u32 + 1), because }
            })
            .collect();
        let decision = checks.iter().map(|check| check.decision).max().expect("checks");
        let faults = fault.map(|(fault, severity)| Inflicted { fault: fault.into(), severity }).into_iter().collect();
        Rehearsed { number, seed: number, sample: Sample::AsBuilt, faults, truth, decision, checks }
    }

    fn rehearsal(units: Vec<Rehearsed>) -> Rehearsal {
        let check = |name: &str, needed| PlannedCheck { name: name.into(), requirements: vec!["r".into()], needed };
        let fault = |name: &str| FaultFacts {
            name: name.into(),
            explanation: String::new(),
            often: 0.1,
            breaks_from: 1.0,
            all_or_nothing: false,
        };
        let setting = Setting {
            format: FORMAT,
            railproof: "0".into(),
            plan: "p".into(),
            revision: 1,
            model: "m".into(),
            population: "q".into(),
            sha256: std::array::from_fn(|_| String::new()),
            seed: 1,
            units: units.len() as u64,
            checks: vec![check("a", true), check("b", false), check("c", false), check("d", false)],
            faults: vec![fault("x"), fault("y")],
        };
        Rehearsal { rehearsal: setting, shard: None, units }
    }

    #[test]
    fn escapes_catches_and_what_could_go_are_counted_by_truth() {
        let told = Findings::of(&rehearsal(vec![
            unit(0, Some(("x", 1.0)), Truth::Broken, "cddc"),
            unit(1, Some(("x", 1.0)), Truth::Broken, "cddd"),
            unit(2, Some(("y", 1.0)), Truth::Broken, "ccdu"),
            unit(3, Some(("y", 1.0)), Truth::Broken, "cccc"),
            unit(4, Some(("y", 0.2)), Truth::Slight, "cccc"),
            unit(5, None, Truth::Sound, "cccc"),
            unit(6, None, Truth::Sound, "cdcc"),
            unit(7, None, Truth::Sound, "cccu"),
            unit(8, None, Truth::Sound, "cuud"),
        ]));
        let (x, y) = (&told.faults[0], &told.faults[1]);
        assert_eq!((x.caught, x.escaped), (Of { count: 2, among: 2 }, Of { count: 0, among: 2 }));
        assert_eq!((y.caught, y.escaped), (Of { count: 1, among: 2 }, Of { count: 1, among: 2 }));
        assert_eq!((told.sound.rejected, told.sound.undecided), (Of { count: 2, among: 4 }, Of { count: 1, among: 4 }));
        assert_eq!(told.population.broken_shipped, Of { count: 1, among: 3 });
        let alone: Vec<_> = told
            .checks
            .iter()
            .map(|check| (check.catches, check.unique, check.false_rejects, check.undecided))
            .collect();
        assert_eq!(alone, [(0, 0, 0, 0), (2, 0, 1, 0), (3, 1, 0, 0), (1, 0, 0, 1)]);
        assert_eq!(told.checks[2].unique_faults, [("y".to_owned(), 1)]);
        // The first switches something, and the third catches all that is caught.
        assert_eq!((&told.shorter.drop[..], told.shorter.saves_s), (&[1, 3][..], 6.0));
        assert_eq!(told.seconds(), Some(10.0));
    }

    #[test]
    fn without_units_nothing_is_known_and_nothing_breaks() {
        let told = Findings::of(&rehearsal(Vec::new()));
        assert_eq!((told.seconds(), told.sound.rejected.share()), (None, None));
        assert_eq!(told.sound.rejected.interval(), (0.0, 1.0));
        assert!(told.severities.is_empty());
    }
}
