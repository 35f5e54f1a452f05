//! Chance, from a seed, the same on every machine: each part of the world has a stream of its own, so that one part's
//! appetite does not change another's luck.

use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// Whose luck it is.
#[derive(Debug, Clone, Copy)]
#[repr(u64)]
pub enum Stream {
    /// How one unit came out of assembly.
    Assembly = 1,
    /// How the jig came out of calibration.
    Jig,
    /// Converter noise.
    Noise,
    /// Contacts: bounce, trigger scatter, dips.
    Contact,
    /// Interrupts and the main loop of the controller.
    Controller,
    /// Bits on the line.
    Line,
    /// The light bar and its sensors, and the controls.
    Bar,
    /// What of a unit differs only where a population says so.
    Further,
    /// The air around it.
    Air,
    /// Which units are drawn from a population.
    Population,
}

/// A stream of chance.
#[derive(Debug, Clone)]
pub struct Chance(Xoshiro256PlusPlus);

impl Chance {
    /// The stream of a seed.
    pub fn new(seed: u64, stream: Stream) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed.wrapping_mul(16).wrapping_add(stream as u64)))
    }

    /// 64 random bits.
    #[inline]
    pub fn bits(&mut self) -> u64 {
        self.0.next_u64()
    }

    /// Evenly in 0 to 1, without 1.
    #[inline]
    pub fn fraction(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Evenly between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.fraction()
    }

    /// Whether something of this probability happens. Draws nothing for the impossible.
    pub fn happens(&mut self, probability: f64) -> bool {
        probability > 0.0 && self.fraction() < probability
    }

    /// A bell-shaped deviate of mean 0 and standard deviation 1: four even deviates added, so that none is beyond 3.47
    /// and no logarithm of the machine's own can make two machines differ.
    #[inline]
    pub fn deviate(&mut self) -> f64 {
        let bits = self.bits();
        let sum = (bits & 0xffff) + (bits >> 16 & 0xffff) + (bits >> 32 & 0xffff) + (bits >> 48);
        const SD: f64 = 37837.227; // 65536/√3: each of the four has the variance 65536²/12
        (sum as f64 - 131070.0) * (1.0 / SD)
    }

    /// A factor around 1 with a relative standard deviation.
    pub fn spread(&mut self, relative: f64) -> f64 {
        1.0 + relative * self.deviate()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn deviates_have_mean_nought_and_unit_deviation() {
        let mut chance = Chance::new(7, Stream::Noise);
        let count = 100_000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..count {
            let deviate = chance.deviate();
            sum += deviate;
            squares += deviate * deviate;
        }
        let mean = sum / f64::from(count);
        assert!(mean.abs() < 0.02, "{mean}");
        assert!((squares / f64::from(count) - 1.0).abs() < 0.02);
    }

    #[test]
    fn streams_of_one_seed_differ_and_repeat() {
        let first = |stream| Chance::new(1, stream).bits();
        assert_ne!(first(Stream::Noise), first(Stream::Contact));
        assert_eq!(first(Stream::Noise), first(Stream::Noise));
    }
}
