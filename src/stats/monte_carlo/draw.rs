//! Deviates of the distributions that a budget knows (JCGM 101:2008, 6.4), from a seed and the same on every machine: the
//! generator works on whole numbers, and the functions between are those of `libm`.

use super::super::{Component, Distribution};
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};
use std::f64::consts::TAU;

/// Where deviates come from.
#[derive(Debug, Clone)]
pub struct Draw {
    bits: Xoshiro256PlusPlus,
    /// Normal deviates come in pairs; the second of one waits here.
    spare: Option<f64>,
}

impl Draw {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Self {
        Self { bits: Xoshiro256PlusPlus::seed_from_u64(seed), spare: None }
    }

    /// Evenly between 0 and 1, neither of them.
    pub fn fraction(&mut self) -> f64 {
        ((self.bits.next_u64() >> 12) as f64 + 0.5) * (1.0 / (1_u64 << 52) as f64)
    }

    /// Evenly between −1 and 1.
    pub fn rectangular(&mut self) -> f64 {
        2.0 * self.fraction() - 1.0
    }

    /// Between −1 and 1, most likely in the middle.
    pub fn triangular(&mut self) -> f64 {
        self.fraction() - self.fraction()
    }

    /// A sine at any time.
    pub fn arcsine(&mut self) -> f64 {
        libm::sin(TAU * self.fraction())
    }

    /// Of mean 0 and standard deviation 1, by the transform of Box and Muller (JCGM 101:2008, C.4).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let reach = (-2.0 * libm::log(self.fraction())).sqrt();
        let (sine, cosine) = libm::sincos(TAU * self.fraction());
        self.spare = Some(reach * sine);
        reach * cosine
    }

    /// Chi-squared, of mean `freedom`: twice a gamma deviate of half as many (G. Marsaglia and W. W. Tsang, 2000).
    pub fn chi_squared(&mut self, freedom: f64) -> f64 {
        let shape = 0.5 * freedom;
        // Below one, a deviate of the next shape is shrunk.
        let (shape, shrunk) =
            if shape < 1.0 { (shape + 1.0, libm::pow(self.fraction(), 1.0 / shape)) } else { (shape, 1.0) };
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal();
            let v = (1.0 + c * x).powi(3);
            if v <= 0.0 {
                continue;
            }
            let fraction = self.fraction();
            // Most are taken without a logarithm.
            let taken =
                fraction < 1.0 - 0.0331 * x.powi(4) || libm::log(fraction) < 0.5 * x * x + d - d * v + d * libm::log(v);
            if taken {
                return 2.0 * d * v * shrunk;
            }
        }
    }

    /// Student's t (JCGM 101:2008, 6.4.9); normal with infinite degrees of freedom.
    pub fn student(&mut self, freedom: f64) -> f64 {
        let normal = self.normal();
        if freedom.is_finite() { normal / (self.chi_squared(freedom) / freedom).sqrt() } else { normal }
    }

    /// How far a line of a budget takes the value from its estimate. Repeated readings are spread as Student's t, whose
    /// standard deviation is larger than the standard uncertainty of the budget (JCGM 101:2008, 6.4.9.4).
    pub fn line(&mut self, line: &Component) -> f64 {
        let deviate = match line.distribution {
            Distribution::Normal => self.student(line.degrees_of_freedom),
            Distribution::Rectangular => line.distribution.half_width() * self.rectangular(),
            Distribution::Triangular => line.distribution.half_width() * self.triangular(),
            Distribution::Arcsine => line.distribution.half_width() * self.arcsine(),
        };
        line.signed() * deviate
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First, second and fourth moment of many deviates.
    fn moments(mut deviate: impl FnMut(&mut Draw) -> f64) -> [f64; 3] {
        const COUNT: usize = 200_000;
        let mut draw = Draw::new(5);
        let mut sums = [0.0; 3];
        for _ in 0..COUNT {
            let value = deviate(&mut draw);
            for (sum, power) in sums.iter_mut().zip([1, 2, 4]) {
                *sum += value.powi(power) / COUNT as f64;
            }
        }
        sums
    }

    #[test]
    fn moments_are_those_of_each_distribution() {
        let cases: [(&str, [f64; 3], [f64; 3]); 6] = [
            ("rectangular", moments(Draw::rectangular), [0.0, 1.0 / 3.0, 0.2]),
            ("triangular", moments(Draw::triangular), [0.0, 1.0 / 6.0, 1.0 / 15.0]),
            ("arcsine", moments(Draw::arcsine), [0.0, 0.5, 0.375]),
            ("normal", moments(Draw::normal), [0.0, 1.0, 3.0]),
            // ν, ν² + 2ν, and ν (ν + 2) (ν + 4) (ν + 6).
            ("chi squared", moments(|draw| draw.chi_squared(3.0)), [3.0, 15.0, 945.0]),
            // ν / (ν − 2) and 3 ν² / (ν − 2) / (ν − 4).
            ("Student", moments(|draw| draw.student(12.0)), [0.0, 1.2, 5.4]),
        ];
        for (name, found, expected) in cases {
            for (found, expected) in found.iter().zip(expected) {
                assert!((found - expected).abs() < 0.01 + 0.03 * expected, "{name}: {found} against {expected}");
            }
        }
    }

    #[test]
    fn few_degrees_of_freedom_are_drawn_too() {
        let [mean, square, _] = moments(|draw| draw.chi_squared(1.0));
        assert!((mean - 1.0).abs() < 0.01 && (square - 3.0).abs() < 0.1, "{mean} {square}");
    }

    #[test]
    fn a_line_is_drawn_with_its_own_uncertainty() {
        for line in [
            Component::normal("line", 0.3),
            Component::rectangular("line", 0.3),
            Component::triangular("line", 0.3),
            Component::arcsine("line", 0.3).through(-2.0, "1"),
        ] {
            let [_, square, _] = moments(|draw| draw.line(&line));
            assert!((square.sqrt() / line.standard_uncertainty() - 1.0).abs() < 0.01, "{line:?}: {square}");
        }
    }
}
