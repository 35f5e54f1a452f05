//! How low a noisy course gets.
//!
//! The least of many noisy means lies below the true least, the further the more of them compete. So where the course is
//! lowest is found from every second sample, and how low it is there from the others: the noise that chose the place has
//! no part in the value. A wide trough is averaged along a parabola, which keeps the noise small; a dip that lies below
//! that is taken with ever shorter stretches. Where in a wide trough the lowest place is, noise may hide: what the course
//! falls by beyond the place that was chosen stays in doubt.

use super::super::converter::noise;
use super::super::values::RECTANGULAR;
use crate::capture::Sample;

/// Samples of the mean whose lowest counts: 28 ms at 250 a second.
const SHORT: usize = 7;
/// Samples of the longer stretches that stand for it where the course is smooth, longest first.
const SMOOTH: [usize; 2] = [251, 51];
/// A shorter stretch counts where it lies below the longer one by so many standard deviations of their difference.
const DIP_DEVIATIONS: f64 = 4.0;
/// So many doubts of a bend are taken for bent at least: one that is not told from none would put the lowest place anywhere.
const BENT_MIN: f64 = 0.7;
/// A bend that is so many doubts below none bends downwards.
const BENT_DOWN: f64 = 2.0;
/// A course that scatters about its parabola by so many times the noise is not one.
const MISFIT: f64 = 1.5;

/// The lowest short mean, in codes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Trough {
    /// The level.
    pub level: f64,
    /// Standard uncertainty of it from noise.
    pub doubt: f64,
    /// Variance of a sample's noise, rounding included.
    pub noise_variance: f64,
    /// Degrees of freedom of the noise.
    pub degrees_of_freedom: f64,
}

impl Trough {
    /// That of a stretch; `None` of too few samples.
    pub fn of(samples: &[Sample]) -> Option<Self> {
        if samples.len() < 4 * SHORT {
            return None;
        }
        let noise = noise(samples);
        let halves: [Vec<f64>; 2] =
            [0, 1].map(|first| samples.iter().skip(first).step_by(2).map(|sample| f64::from(sample.code)).collect());
        let mut found: Option<Level> = None;
        for length in SMOOTH.into_iter().filter(|length| 2 * length <= samples.len()).chain([SHORT]) {
            let level = crossed(&halves, length, noise);
            let below =
                |longer: Level| level.height < longer.height - DIP_DEVIATIONS * level.by_noise.hypot(longer.by_noise);
            if found.is_none_or(below) {
                found = Some(level);
            }
        }
        let Level { height: level, doubt, .. } = found?;
        let degrees_of_freedom = samples.len() as f64 / 2.0;
        Some(Self { level, doubt, noise_variance: noise * noise, degrees_of_freedom })
    }
}

/// A height, what noise alone leaves in doubt of it, and what noise and misfit do.
#[derive(Clone, Copy)]
struct Level {
    height: f64,
    by_noise: f64,
    doubt: f64,
}

/// Chooses the place by the even samples and asks the odd ones about it, and the other way round: the mean of both.
/// None of those asked lies outside the stretch that was chosen, where a short dip may be over.
fn crossed([even, odd]: &[Vec<f64>; 2], length: usize, noise: f64) -> Level {
    let (chosen, asked) = (length / 2 + 1, length / 2);
    let ask = |chooser: &[f64], others: &[f64], ahead: usize| {
        let begins = least(chooser, chosen);
        let others = &others[begins + ahead..begins + ahead + asked];
        if length == SHORT {
            let doubt = noise / (asked as f64).sqrt();
            let height = others.iter().sum::<f64>() / asked as f64;
            return (Level { height, by_noise: doubt, doubt }, 0.0);
        }
        let course = Parabola::through(&chooser[begins..begins + chosen]);
        let others = Parabola::through(others);
        let level = others.at(course.lowest(noise), noise);
        let falls_on = level.height - others.at(course.lower_end(), noise).height;
        (level, falls_on.max(0.0))
    };
    let ((one, one_falls_on), (other, other_falls_on)) = (ask(even, odd, 0), ask(odd, even, 1));
    // Where the course seems lower still at the end that it falls to, the lowest may be there: somewhere between the two.
    let falls_on = 0.5 * (one_falls_on + other_falls_on) * 2.0 * RECTANGULAR;
    Level {
        height: 0.5 * (one.height + other.height),
        by_noise: 0.5 * one.by_noise.hypot(other.by_noise),
        doubt: (0.5 * one.doubt.hypot(other.doubt)).hypot(falls_on),
    }
}

/// Where the least sum of `length` values in a row begins.
fn least(values: &[f64], length: usize) -> usize {
    let mut sum: f64 = values[..length].iter().sum();
    let (mut least, mut begins) = (sum, 0);
    for (index, (left, come)) in values.iter().zip(&values[length..]).enumerate() {
        // Codes are whole numbers, so that nothing is lost in adding and taking away.
        sum += come - left;
        if sum < least {
            (least, begins) = (sum, index + 1);
        }
    }
    begins
}

/// A parabola by least squares through evenly spaced values, in orthogonal polynomials about their middle.
struct Parabola {
    count: f64,
    level: f64,
    slope: f64,
    bend: f64,
    scatter: f64,
}

impl Parabola {
    fn through(values: &[f64]) -> Self {
        let count = values.len() as f64;
        let mut sums = [0.0; 4];
        for (index, value) in values.iter().enumerate() {
            let [_, first, second] = polynomials(index as f64 - 0.5 * (count - 1.0), count);
            sums = [sums[0] + value, sums[1] + value * first, sums[2] + value * second, sums[3] + value * value];
        }
        let [n0, n1, n2] = norms(count);
        let (level, slope, bend) = (sums[0] / n0, sums[1] / n1, sums[2] / n2);
        let about = sums[3] - n0 * level * level - n1 * slope * slope - n2 * bend * bend;
        Self { count, level, slope, bend, scatter: (about.max(0.0) / (count - 3.0)).sqrt() }
    }

    /// Where it is lowest, at least half a short mean inside its ends.
    fn lowest(&self, noise: f64) -> f64 {
        let doubt = noise / norms(self.count)[2].sqrt();
        let vertex = -self.slope / (2.0 * self.bend.max(0.0).hypot(BENT_MIN * doubt));
        let is_inside = self.bend > -BENT_DOWN * doubt && vertex.abs() < self.reach();
        if is_inside { vertex } else { self.lower_end() }
    }

    fn reach(&self) -> f64 {
        0.5 * (self.count - 1.0) - 0.25 * (SHORT - 1) as f64
    }

    /// The place near the end that it falls to.
    fn lower_end(&self) -> f64 {
        if self.slope > 0.0 { -self.reach() } else { self.reach() }
    }

    /// Its height at a place.
    fn at(&self, place: f64, noise: f64) -> Level {
        let [p0, p1, p2] = polynomials(place, self.count);
        let [n0, n1, n2] = norms(self.count);
        let share = (p0 * p0 / n0 + p1 * p1 / n1 + p2 * p2 / n2).sqrt();
        let scatter = if self.scatter > MISFIT * noise { self.scatter } else { noise };
        let height = self.level * p0 + self.slope * p1 + self.bend * p2;
        Level { height, by_noise: noise * share, doubt: scatter * share }
    }
}

fn polynomials(x: f64, count: f64) -> [f64; 3] {
    [1.0, x, x * x - (count * count - 1.0) / 12.0]
}

/// Sums of their squares over `count` places one apart.
fn norms(count: f64) -> [f64; 3] {
    let square = count * count;
    [count, count * (square - 1.0) / 12.0, count * (square - 1.0) * (square - 4.0) / 180.0]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_parabola_goes_through_a_parabola() {
        let values: Vec<f64> = (0..25).map(|x| 3.0 - 0.5 * f64::from(x) + 0.02 * f64::from(x * x)).collect();
        let parabola = Parabola::through(&values);
        // Lowest at x = 12.5, half a place right of the middle: 3 − 0.5² / 0.08.
        assert!((parabola.lowest(0.0) - 0.5).abs() < 1e-9, "{}", parabola.lowest(0.0));
        let Level { height, doubt, .. } = parabola.at(0.5, 0.1);
        assert!((height + 0.125).abs() < 1e-9 && doubt > 0.02 && doubt < 0.05, "{height} {doubt}");
        assert!(parabola.scatter < 1e-6);
    }

    #[test]
    fn a_still_course_and_a_dip_are_found_as_they_are() {
        let course = |dip: std::ops::Range<usize>| {
            let sample = |index| Sample { at: index as u64, code: if dip.contains(&index) { 900 } else { 1000 } };
            (0..1000).map(sample).collect::<Vec<_>>()
        };
        let level = |samples: &[Sample]| Trough::of(samples).map(|trough| trough.level);
        assert_eq!(level(&course(0..0)), Some(1000.0));
        assert_eq!(level(&course(500..507)), Some(900.0));
        assert_eq!(level(&course(501..511)), Some(900.0));
        assert!((level(&course(300..700)).expect("many samples") - 900.0).abs() < 1e-9);
        assert_eq!(level(&course(0..0)[..20]), None);
    }
}
