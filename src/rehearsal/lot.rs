//! Which unit has which number: everything about it is drawn from the seed and its number alone, so that a rehearsal comes out
//! the same however many threads or shards carry it out.
//!
//! Of ten units three are as built. Of the others four of five have one fault of the population at its worst, fault after
//! fault, so that each has as many; the fifth has one of the faults that have degrees, at severities all the way up.

use super::population::{Occurrence, Population};
use crate::sim::{Chance, Fault, Stream, WorldSettings};
use crate::study::rehearse::{Inflicted, Sample, Truth};

/// A lot of units that is drawn from a population.
#[derive(Debug, Clone)]
pub struct Lot<'p> {
    population: &'p Population,
    seed: u64,
    units: u64,
}

/// One of its units.
#[derive(Debug, Clone, PartialEq)]
pub struct LotUnit {
    /// Its number in the lot.
    pub number: u64,
    /// What it was drawn for.
    pub sample: Sample,
    /// What is wrong with it.
    pub faults: Vec<Fault>,
    /// What that makes of it.
    pub truth: Truth,
    /// The world around it.
    pub world: WorldSettings,
}

/// Units in a turn, and which of them are as built.
const TURN: u64 = 10;
const AS_BUILT: u64 = 3;
/// One of so many of the others has a graded fault.
const GRADED: u64 = 5;

impl<'p> Lot<'p> {
    /// So many units of a population.
    pub const fn new(population: &'p Population, seed: u64, units: u64) -> Self {
        Self { population, seed, units }
    }

    /// The unit of a number.
    pub fn unit(&self, number: u64) -> LotUnit {
        // Odd and far from any pattern, so that neighbours of two seeds never meet.
        let own = self.seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(number);
        let chance = &mut Chance::new(own, Stream::Population);
        // As many digits as every reader of JSON keeps.
        let seed = chance.bits() >> 12;
        let (sample, faults) = self.faults(number, chance);
        let breaks = |(occurrence, fault): &(&Occurrence, Fault)| occurrence.breaks(fault.severity());
        let truth = match &faults[..] {
            [] => Truth::Sound,
            some if some.iter().any(breaks) => Truth::Broken,
            _ => Truth::Slight,
        };
        let faults: Vec<Fault> = faults.into_iter().map(|(_, fault)| fault).collect();
        let spread = self.population.spread.clone();
        let world = WorldSettings { seed, faults: faults.clone(), spread, ..WorldSettings::default() };
        LotUnit { number, sample, faults, truth, world }
    }

    fn faults(&self, number: u64, chance: &mut Chance) -> (Sample, Vec<(&'p Occurrence, Fault)>) {
        let all = &self.population.faults;
        let (turn, place) = (number / TURN, number % TURN);
        let Some(other) =
            place.checked_sub(AS_BUILT).map(|other| turn * (TURN - AS_BUILT) + other).filter(|_| !all.is_empty())
        else {
            let drawn = all.iter().filter_map(|one| {
                // Both are drawn whatever comes of them, so that one fault's rate changes no other's luck.
                let (there, how) = (chance.fraction() < one.often, chance.fraction());
                let severity = one.severity.0 + (one.severity.1 - one.severity.0) * how;
                Some((one, Fault::of(one.kind, severity)?)).filter(|_| there && severity > 0.0)
            });
            return (Sample::AsBuilt, drawn.collect());
        };
        let graded: Vec<&Occurrence> = all.iter().filter(|one| !one.kind.is_all_or_nothing()).collect();
        let (sample, one, severity) = if other % GRADED == 0 && !graded.is_empty() {
            let (turn, place) = (other / GRADED / graded.len() as u64, other / GRADED % graded.len() as u64);
            let turns = (self.units * (TURN - AS_BUILT) / TURN / GRADED / graded.len() as u64).max(1);
            (Sample::Graded, graded[place as usize], (((turn as f64) + chance.fraction()) / turns as f64).min(1.0))
        } else {
            let worst = other - other.div_ceil(GRADED);
            (Sample::Worst, &all[(worst % all.len() as u64) as usize], 1.0)
        };
        (sample, Fault::of(one.kind, severity).map(|fault| (one, fault)).into_iter().collect())
    }
}

impl LotUnit {
    /// Its faults as a rehearsal stores them.
    pub fn inflicted(&self) -> Vec<Inflicted> {
        let one = |fault: &Fault| Inflicted { fault: fault.kind.name().to_owned(), severity: fault.severity() };
        self.faults.iter().map(one).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sim::FaultKind;
    use crate::written::Source;
    use std::collections::HashMap;

    fn shipped() -> Population {
        let text = include_str!("../../fixtures/populations/dunlin-600.yaml");
        Population::read(&Source::new("dunlin-600.yaml", text)).expect("the shipped file is sound")
    }

    #[test]
    fn each_fault_comes_as_often_and_severities_go_all_the_way_up() {
        let population = shipped();
        let lot = Lot::new(&population, 1, 10_000);
        let (mut worst, mut graded): (HashMap<FaultKind, u32>, HashMap<FaultKind, Vec<f64>>) = Default::default();
        let mut sound = 0;
        for unit in (0..10_000).map(|number| lot.unit(number)) {
            match (unit.sample, &unit.faults[..]) {
                (Sample::Worst, [fault]) => *worst.entry(fault.kind).or_default() += 1,
                (Sample::Graded, [fault]) => graded.entry(fault.kind).or_default().push(fault.severity()),
                (Sample::AsBuilt, faults) => sound += u32::from(faults.is_empty()),
                other => panic!("{other:?}"),
            }
        }
        assert_eq!(worst.len(), population.faults.len());
        assert!(worst.values().all(|count| *count >= 200), "{worst:?}");
        assert!((2500..2950).contains(&sound), "{sound} of 3000 without a fault");
        for (kind, severities) in graded {
            assert!(!kind.is_all_or_nothing() && severities.len() >= 60);
            assert!(severities.is_sorted(), "one after the other");
            assert!(severities[0] < 0.05 && *severities.last().unwrap() > 0.95, "{severities:?}");
        }
    }

    #[test]
    fn a_unit_is_drawn_from_its_number_alone_and_told_by_its_truth() {
        let population = shipped();
        assert_eq!(Lot::new(&population, 7, 100).unit(42), Lot::new(&population, 7, 100).unit(42));
        assert_ne!(
            Lot::new(&population, 7, 100).unit(42).world.seed,
            Lot::new(&population, 8, 100).unit(42).world.seed
        );
        let lot = Lot::new(&population, 1, 3000);
        for unit in (0..3000).map(|number| lot.unit(number)) {
            let broken = unit.faults.iter().any(|fault| fault.severity() >= 1.0 || fault.kind.is_all_or_nothing());
            let truth = if unit.faults.is_empty() {
                Truth::Sound
            } else if broken {
                Truth::Broken
            } else {
                Truth::Slight
            };
            assert_eq!(unit.truth, truth, "{unit:?}");
        }
    }

    #[test]
    fn a_population_without_faults_has_sound_units_alone() {
        let population = Population { faults: Vec::new(), ..shipped() };
        let lot = Lot::new(&population, 1, 20);
        assert!((0..20).all(|number| lot.unit(number).truth == Truth::Sound));
    }
}
