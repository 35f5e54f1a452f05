//! How early or late each step of a motion is against the profile that was commanded: constant acceleration from rest to
//! the commanded rate, that rate, and as much deceleration to rest again.
//!
//! Of constant acceleration step n is due at c₀·√n with c₀ = √(2/a) (D. Austin, 2005). When the motion was to start is told
//! by nobody to the tick, so it is fitted: on the mean the steps of the rising ramp are neither early nor late. How many
//! steps there were to be is not commanded either where an end stop or a stop ends the way; the profile is that of as many
//! as came. A firmware may give the first pulse when it starts or one step later, and the last one likewise: what fits the
//! ramp better counts.

use super::divide::Motion;
use super::report::PhaseKind;
use crate::capture::{Edge, Tick};
use crate::measure::Setup;
use crate::measure::values::seconds;
use std::array::from_fn;

/// The fewest steps that the start is fitted to: a full step of the usual sixteen.
const FITTED_MIN: usize = 16;
/// The fewest steps of a motion that is compared.
const STEPS_MIN: usize = 4 * FITTED_MIN;
/// Sums that are taken side by side, so that none has to wait for the one before it.
const LANES: usize = 8;
/// Steps that are looked at together.
const BLOCK: usize = 8 * LANES;

/// A commanded profile, in steps and ticks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Profile {
    rate: f64,
    acceleration: f64,
}

/// How far the steps of a motion are from the commanded profile.
#[derive(Debug, Clone, PartialEq)]
pub struct ProfileErrors {
    /// Ramp up, cruise and ramp down; a motion without a cruise has all in the first.
    parts: [Option<PartErrors>; 3],
    /// Steps that the start was fitted to.
    pub fitted: usize,
}

/// The same of a part of the motion. Ticks; late is positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartErrors {
    pub steps: f64,
    pub squares: f64,
    /// Sum of the products of error and time since the start: how the sum of the squares changes with the clock's error.
    pub products: f64,
    /// The largest error, with its sign, and when since the start it was.
    pub farthest: f64,
    pub elapsed: f64,
}

impl PartErrors {
    /// Of pulses that began `since` ticks after the start of their course, the first of them with this number; `None` where
    /// there is none.
    fn of(course: Course, number: f64, pulses: &[Edge], since: impl Fn(&Edge) -> f64) -> Option<Self> {
        let block = |place: usize| {
            let mut elapsed = [0.0; BLOCK];
            let pulses = &pulses[place..pulses.len().min(place + BLOCK)];
            elapsed.iter_mut().zip(pulses).for_each(|(elapsed, pulse)| *elapsed = since(pulse));
            let due = course.due_from(number + place as f64);
            let mut errors: [f64; BLOCK] = from_fn(|step| elapsed[step] - due[step]);
            errors[pulses.len()..].fill(0.0);
            (errors, elapsed)
        };
        let (mut squares, mut products) = ([0.0; LANES], [0.0; LANES]);
        // The farthest of all is looked up in its block at the end: a clock that is off errs more with every step.
        let (mut farthest, mut farthest_block) = (0.0, 0);
        for place in (0..pulses.len()).step_by(BLOCK) {
            let (errors, elapsed) = block(place);
            let mut widest = [0.0; LANES];
            for (errors, elapsed) in errors.as_chunks::<LANES>().0.iter().zip(elapsed.as_chunks::<LANES>().0) {
                for lane in 0..LANES {
                    squares[lane] += errors[lane] * errors[lane];
                    products[lane] += errors[lane] * elapsed[lane];
                    let error = errors[lane].abs();
                    widest[lane] = if error > widest[lane] { error } else { widest[lane] };
                }
            }
            let widest = widest.into_iter().fold(0.0, f64::max);
            if widest >= farthest {
                (farthest, farthest_block) = (widest, place);
            }
        }
        let (errors, elapsed) = block(farthest_block);
        let (farthest, elapsed) =
            errors.into_iter().zip(elapsed).max_by(|one, other| one.0.abs().total_cmp(&other.0.abs()))?;
        let [squares, products] = [squares, products].map(|lanes| lanes.iter().sum());
        (!pulses.is_empty()).then_some(Self { steps: pulses.len() as f64, squares, products, farthest, elapsed })
    }
}

impl ProfileErrors {
    /// Of a phase of the motion.
    pub(super) fn of(&self, phase: PhaseKind) -> Option<&PartErrors> {
        let place = match phase {
            PhaseKind::RampUp | PhaseKind::Unsteady => 0,
            PhaseKind::Cruise => 1,
            PhaseKind::RampDown => 2,
            PhaseKind::Crawl => return None,
        };
        self.parts[place].as_ref()
    }

    /// The part with the largest error of all.
    pub fn farthest(&self) -> Option<&PartErrors> {
        self.parts.iter().flatten().max_by(|one, other| one.farthest.abs().total_cmp(&other.farthest.abs()))
    }
}

impl Profile {
    /// For a commanded rate in Hz, with the acceleration of the unit's ramps.
    pub fn commanded(rate: f64, setup: &Setup) -> Self {
        let tick = seconds(1.0, setup);
        Self { rate: rate * tick, acceleration: setup.unit.acceleration * setup.unit.steps_per_metre * tick * tick }
    }

    /// Steps of a ramp from rest to the rate.
    fn ramp(&self) -> f64 {
        0.5 * self.rate * self.rate / self.acceleration
    }

    /// Compares a motion with the profile; why not, where it cannot be.
    pub fn compare(&self, pulses: &[Edge], motion: &Motion) -> Result<ProfileErrors, &'static str> {
        let (Some(first), Some(last)) = (pulses.first(), pulses.last()) else {
            return Err(FEW);
        };
        if pulses.len() < STEPS_MIN || last.tick() <= first.tick() {
            return Err(FEW);
        }
        let ramps = self.ramp() >= FITTED_MIN as f64;
        let is_slow = |before: &Edge, after: &Edge| after.tick() - before.tick() > (2.0 / self.rate) as Tick;
        if motion.disorder.is_some() {
            return Err("steps are stamped earlier than the ones before them");
        }
        if ramps && !is_slow(&pulses[0], &pulses[1]) {
            return Err("the steps began at their full rate, so that there is no start to fit the profile to");
        }
        let comes_to_rest = !ramps || is_slow(&pulses[pulses.len() - 2], last);
        let fitted = (self.ramp() as usize).clamp(FITTED_MIN, pulses.len() / 2);
        // Signed, which is the faster of the two to become a float.
        let since = |pulse: &Edge| (pulse.tick() - first.tick()).cast_signed() as f64;
        let errors = |course: Course, from: usize, to: usize| {
            (from..to).map(move |place| since(&pulses[place]) - course.due(course.first + place as f64))
        };
        let steps = pulses.len() as f64;
        let course = |first: f64, tail: f64| {
            Course::of(self, first, if comes_to_rest { first + steps - 1.0 + tail } else { f64::INFINITY })
        };
        let (one, none) = (course(1.0, 0.0), course(0.0, 0.0));
        let rising = [one, none].map(|course| scatter(errors(course, 0, fitted)));
        let (begun, start) = if rising[0].1 <= rising[1].1 { (1.0, rising[0].0) } else { (0.0, rising[1].0) };
        let ends = [course(begun, 0.0), course(begun, 1.0)];
        let falling = ends.map(|course| scatter(errors(course, pulses.len() - fitted, pulses.len())).1);
        let course = if falling[0] <= falling[1] { ends[0] } else { ends[1] };
        let end = |step: u64| usize::try_from(step).map_or(pulses.len(), |step| step.min(pulses.len()));
        let cruise =
            motion.cruise.as_ref().map_or(end(u64::MAX)..end(u64::MAX), |cruise| end(cruise.from)..end(cruise.to + 1));
        let parts = [0..cruise.start, cruise.clone(), cruise.end..pulses.len()].map(|part| {
            PartErrors::of(course, course.first + part.start as f64, &pulses[part], |pulse| since(pulse) - start)
        });
        Ok(ProfileErrors { parts, fitted })
    }
}

const FEW: &str = "the motion has too few steps for a profile";

/// Mean and variance.
fn scatter(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let count = values.clone().count().max(1) as f64;
    let mean = values.clone().sum::<f64>() / count;
    (mean, values.map(|value| (value - mean).powi(2)).sum::<f64>() / count)
}

/// A profile over a way of so many steps, in ticks from its start.
#[derive(Debug, Clone, Copy)]
struct Course {
    acceleration: f64,
    /// Number of the first pulse.
    first: f64,
    /// Steps from rest to rest; infinite where the motion is not seen to its end.
    way: f64,
    /// Steps of a ramp.
    ramp: f64,
    /// Ticks of a step at its end: more than commanded where the way is too short for that rate.
    period: f64,
}

impl Course {
    fn of(profile: &Profile, first: f64, way: f64) -> Self {
        let ramp = profile.ramp().min(0.5 * way);
        let top = (2.0 * profile.acceleration * ramp).sqrt();
        Self { acceleration: profile.acceleration, first, way, ramp, period: 1.0 / top }
    }

    /// When a step and those that follow it are due.
    fn due_from(&self, step: f64) -> [f64; BLOCK] {
        let last = step + (BLOCK - 1) as f64;
        if step > self.ramp && self.way - last >= self.ramp {
            return from_fn(|next| (step + next as f64 + self.ramp) * self.period);
        }
        from_fn(|next| self.due(step + next as f64))
    }

    /// When a step is due.
    fn due(&self, step: f64) -> f64 {
        let ramp = |steps: f64| (2.0 * steps / self.acceleration).sqrt();
        if step <= self.ramp {
            return ramp(step);
        }
        let left = self.way - step;
        if left >= self.ramp {
            return (step + self.ramp) * self.period;
        }
        (self.way + 2.0 * self.ramp) * self.period - ramp(left.max(0.0))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Rules, StepClock};
    use super::*;

    /// 80 steps a millimetre and 500 mm/s², a tick of 1 µs.
    const SLOW: Profile = Profile { rate: 8e-3, acceleration: 40_000e-12 };
    const RULES: Rules = Rules { pause: 500_000, burst_steps: 32, ns_per_tick: 1000.0 };

    // Outside: step n of a ramp is due at c0·√n, 500 mm/s² at 80 steps/mm: delays 7071.07, 2928.93, 2247.45 … 354.442 µs, 800 steps to 100 mm/s in 0.2 s; how: closed form
    #[test]
    fn a_ramp_by_arithmetic() {
        let course = Course::of(&SLOW, 0.0, f64::INFINITY);
        let delay = |step: f64| course.due(step + 1.0) - course.due(step);
        for (step, expected) in [
            (0.0, 7_071.067_812),
            (1.0, 2_928.932_188),
            (2.0, 2_247.448_714),
            (3.0, 1_894.686_910),
            (9.0, 1_147.476_339),
            (99.0, 354.441_721),
        ] {
            assert!((delay(step) - expected).abs() < 1e-6, "{step}: {}", delay(step));
        }
        assert!((SLOW.ramp() - 800.0).abs() < 1e-9 && (course.due(800.0) - 200_000.0).abs() < 1e-6);
        assert!((delay(5000.0) - 125.0).abs() < 1e-6);
    }

    // Outside: ratios of neighbouring delays, D. Austin (2005), column "exact": 0.4142, 0.7673, 0.8430 … 0.9951; how: closed form, source from memory
    #[test]
    fn ratios_of_neighbouring_delays() {
        let course = Course::of(&Profile { rate: 1.0, acceleration: 1e-4 }, 0.0, f64::INFINITY);
        let delay = |step: f64| course.due(step + 1.0) - course.due(step);
        for (step, expected) in [
            (1.0, 0.414_213_6),
            (2.0, 0.767_327_0),
            (3.0, 0.843_039_0),
            (4.0, 0.881_017_7),
            (5.0, 0.904_069_1),
            (6.0, 0.919_594_9),
            (10.0, 0.951_129_9),
            (100.0, 0.995_012_4),
        ] {
            let ratio = delay(step) / delay(step - 1.0);
            assert!((ratio - expected).abs() < 1e-7, "{step}: {ratio}");
        }
    }

    // Outside: a way of 300 mm and one of 15 mm at 100 mm/s and 500 mm/s²: 3.2 s and a triangle of 0.346 410 s; how: closed form
    #[test]
    fn ways_by_arithmetic() {
        for (way, lasts) in [(24_000.0, 3.2e6), (1200.0, 346_410.161_5)] {
            let course = Course::of(&SLOW, 0.0, way);
            assert!((course.due(way) - lasts).abs() < 1e-3, "{}", course.due(way));
            // As far from either end.
            assert!((course.due(way - 300.0) + course.due(300.0) - lasts).abs() < 1e-3);
        }
    }

    /// Pulses of a way at that profile: first and last number, each late by what `late` says of its number.
    fn pulses(way: f64, first: u64, last: u64, late: impl Fn(u64) -> f64) -> Vec<Edge> {
        let course = Course::of(&SLOW, 0.0, way);
        let tick = |step: u64| (1e6 + course.due(step as f64) + late(step)).round() as Tick;
        (first..=last).map(|step| Edge::new(tick(step), true)).collect()
    }

    fn compared(pulses: &[Edge]) -> Result<ProfileErrors, &'static str> {
        let mut clock = StepClock::new(RULES);
        clock.take(pulses);
        SLOW.compare(pulses, &clock.finish())
    }

    #[test]
    fn what_follows_the_profile_is_never_late_however_its_ends_are_counted() {
        for (first, last) in [(0, 23_999), (1, 24_000), (0, 24_000), (1, 23_999)] {
            let errors = compared(&pulses(24_000.0, first, last, |_| 0.0)).expect("a profile");
            for part in errors.parts {
                assert!(part.expect("all three").farthest.abs() < 1.1, "{first} {last}: {errors:?}");
            }
        }
        // A triangle has no cruise: all is in one part.
        let errors = compared(&pulses(1200.0, 1, 1200, |_| 0.0)).expect("a profile");
        assert!(errors.parts[1].is_none() && errors.farthest().expect("steps").farthest.abs() < 1.1, "{errors:?}");
    }

    #[test]
    fn what_is_late_is_told_with_its_place() {
        let late = |step| if step == 12_000 { 40.0 } else { 0.0 };
        let errors = compared(&pulses(24_000.0, 1, 24_000, late)).expect("a profile");
        let farthest = errors.farthest().expect("steps");
        assert_eq!(errors.of(PhaseKind::Cruise), Some(farthest));
        assert!((farthest.farthest - 40.0).abs() < 1.1 && (farthest.elapsed - 1.6e6).abs() < 50.0, "{farthest:?}");
        // A clock that is 0.1 % slow is 1 ms late after 1 s.
        let course = Course::of(&SLOW, 0.0, 24_000.0);
        let slow = compared(&pulses(24_000.0, 1, 24_000, |step| 1e-3 * course.due(step as f64))).expect("a profile");
        let cruise = slow.of(PhaseKind::Cruise).expect("a cruise");
        assert!((cruise.farthest - 1e-3 * cruise.elapsed).abs() < 150.0 && cruise.elapsed > 2.9e6, "{cruise:?}");
    }

    #[test]
    fn a_motion_seen_from_its_middle_has_no_start() {
        let whole = pulses(24_000.0, 1, 24_000, |_| 0.0);
        assert!(compared(&whole[5000..]).is_err_and(|why| why.contains("full rate")));
        // Its end need not be seen.
        let errors = compared(&whole[..20_000]).expect("a profile");
        assert!(errors.farthest().expect("steps").farthest.abs() < 1.1, "{errors:?}");
        assert_eq!(compared(&whole[..20]), Err(FEW));
        assert_eq!(compared(&[Edge::new(5, true); 100]), Err(FEW));
        let mut back = whole;
        back[7000] = Edge::new(0, true);
        assert!(compared(&back).is_err());
    }
}
