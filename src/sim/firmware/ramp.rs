//! Trapezoid ramps on an integer timer: each delay from the one before, with one division a step.
//!
//! Constant acceleration means that step n is due at c₀·√n. The recursion cₙ = cₙ₋₁ − 2·cₙ₋₁/(4n + 1) approximates the
//! differences, with the remainder carried on and the first delay shortened to 0.676·c₀ (Austin 2005, "Generate
//! stepper-motor speed profiles in real time"; Atmel application note AVR446). The timer runs at 16 MHz / 8: ticks of
//! 0.5 µs.

/// Ticks of the controller's step timer in a second, by its nominal clock.
pub const TIMER_HZ: u32 = 2_000_000;
/// First delay in ticks, already shortened: 0.676·f·√(2/a) with the acceleration of every ramp, 1600 mm/s² at 80
/// steps/mm.
pub const FIRST_DELAY: u32 = 5344;
/// Longest delay of a 16-bit timer.
pub const LONGEST_DELAY: u32 = 65_535;

/// Speed control of one motion: which delay comes next.
#[derive(Debug, Clone)]
pub struct Ramp {
    /// Steps of ramp made so far: as many, less one, are needed to stop.
    climbed: u32,
    delay: u32,
    remainder: u32,
    target: u32,
}

impl Ramp {
    /// A ramp from rest to a speed given by its delay.
    pub fn to_delay(target: u32) -> Self {
        Self { climbed: 0, delay: FIRST_DELAY.max(target), remainder: 0, target }
    }

    /// The delay before the first step.
    pub fn first_delay(&self) -> u32 {
        self.delay
    }

    /// Chooses another speed on the way.
    pub fn set_target(&mut self, target: u32) {
        self.target = target;
    }

    /// How many of the `remaining` steps will surely be followed by the same delay as now.
    #[inline]
    pub fn steady_steps(&self, remaining: u32) -> u32 {
        if self.climbed > 0 && self.delay == self.target { remaining.saturating_sub(self.climbed) } else { 0 }
    }

    /// The delay after a step that has just been made, when `remaining` steps are still to go (as many as one likes, or
    /// none when braking); nothing when that was the last.
    #[inline]
    pub fn next_delay(&mut self, remaining: u32) -> Option<u32> {
        if self.climbed == 0 {
            self.climbed = 1;
        }
        if remaining == 0 && self.climbed == 1 {
            return None;
        }
        // `climbed − 1` steps of braking follow: begin as soon as no more remain.
        if remaining < self.climbed {
            self.descend();
        } else if self.delay > self.target {
            // A step higher needs one more step to come down again.
            if remaining > self.climbed {
                self.climb();
            }
        } else if self.delay < self.target {
            if self.climbed > 1 {
                self.descend();
            }
            if self.climbed == 1 || self.delay > self.target {
                self.delay = self.target;
            }
        }
        Some(self.delay)
    }

    fn climb(&mut self) {
        let dividend = 2 * self.delay + self.remainder;
        let divisor = 4 * self.climbed + 1;
        self.remainder = dividend % divisor;
        self.delay -= dividend / divisor;
        self.climbed += 1;
        if self.delay < self.target {
            self.delay = self.target;
        }
    }

    fn descend(&mut self) {
        if self.climbed == 1 {
            return;
        }
        self.climbed -= 1;
        let dividend = 2 * self.delay + self.remainder;
        let divisor = 4 * self.climbed - 1;
        self.remainder = dividend % divisor;
        self.delay = (self.delay + dividend / divisor).min(LONGEST_DELAY);
    }
}

/// The delay of a speed in mm/s: 80 steps to the millimetre, rounded to whole ticks.
pub fn delay_for(mm_per_s: f64) -> u32 {
    let ticks = f64::from(TIMER_HZ) / (mm_per_s * 80.0) + 0.5;
    (ticks as u32).clamp(1, LONGEST_DELAY)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1600 mm/s² at 80 steps/mm.
    const STEPS_PER_S2: f64 = 1600.0 * 80.0;

    /// Times of the steps of a motion over `steps` steps, in ticks.
    fn times(target: u32, steps: u32) -> Vec<u32> {
        let mut ramp = Ramp::to_delay(target);
        let (mut now, mut times) = (ramp.first_delay(), Vec::new());
        times.push(now);
        for made in 1.. {
            match ramp.next_delay(steps - made) {
                Some(delay) => now += delay,
                None => break,
            }
            times.push(now);
        }
        times
    }

    /// Austin 2005: step n is due at c₀·√n with c₀ = f·√(2/α); the recursion started at 0.676·c₀ converges to that, its
    /// delays being within 0.4 % from n = 3 on (0.996209 of the exact one) and 0.05 % from n = 10 on (0.999607).
    // Outside: Austin (2005), stepper ramp recursion against the square root; how: closed form, source from memory
    #[test]
    fn delays_follow_the_square_root() {
        let exact = f64::from(TIMER_HZ) * (2.0 / STEPS_PER_S2).sqrt();
        assert_eq!(FIRST_DELAY, (0.676 * exact).round() as u32);
        let times = times(278, 44_800);
        for n in [3usize, 5, 10, 100, 200] {
            let delay = f64::from(times[n] - times[n - 1]);
            let right = exact * ((n as f64 + 1.0).sqrt() - (n as f64).sqrt());
            let allowed = if n < 10 { 0.005 } else { 0.001 } * right + 1.0;
            assert!((delay - right).abs() < allowed, "{n}: {delay} {right}");
        }
    }

    /// The ratio of neighbouring delays after one step is 1 − 2/(4n + 1): 0.6 at n = 1, 0.7778 at n = 2 (Austin 2005,
    /// table; the AVR446 note uses the same).
    // Outside: Austin (2005), first ratios of neighbouring delays; how: closed form, source from memory
    #[test]
    fn the_first_ratios_are_austins() {
        let mut ramp = Ramp::to_delay(278);
        let first = f64::from(ramp.first_delay());
        let second = f64::from(ramp.next_delay(10_000).unwrap());
        let third = f64::from(ramp.next_delay(10_000).unwrap());
        assert!((second / first - 0.6).abs() < 1e-3, "{}", second / first);
        assert!((third / second - 0.7778).abs() < 1e-3, "{}", third / second);
    }

    // Outside: Austin (2005), delays of the recursion begun at 0.676·c0 against exact ones: 0.9792, 0.9925, 0.9962 … 1.00003; how: closed form, source from memory
    #[test]
    fn the_recursion_errs_as_much_as_it_should() {
        let exact = f64::from(TIMER_HZ) * (2.0 / STEPS_PER_S2).sqrt();
        let times = times(278, 44_800);
        let ratios =
            [(1_u32, 0.979_205), (2, 0.992_542), (3, 0.996_209), (5, 0.998_483), (10, 0.999_607), (100, 1.000_028)];
        for (step, expected) in ratios {
            let delay = f64::from(times[step as usize] - times[step as usize - 1]);
            let right = exact * (f64::from(step + 1).sqrt() - f64::from(step).sqrt());
            // Delays are whole ticks, and what was left over of the ones before is carried on.
            assert!((delay - expected * right).abs() < 1.5, "{step}: {delay} {right}");
        }
    }

    #[test]
    fn reaches_the_speed_and_comes_to_rest_at_the_last_step() {
        // v²/2a = 90²/3200 = 2.53 mm: 202 steps of ramp each way.
        let times = times(278, 4_000);
        assert_eq!(times.len(), 4_000);
        let cruise = times.windows(2).filter(|pair| pair[1] - pair[0] == 278).count();
        assert!((cruise as i64 - (4_000 - 2 * 202)).abs() < 12, "{cruise}");
        let last = times[3_999] - times[3_998];
        assert!((f64::from(last) / f64::from(FIRST_DELAY) - 1.0).abs() < 0.25, "{last}");
    }

    #[test]
    fn short_moves_are_triangles_and_slow_ones_have_no_ramp() {
        for steps in [1, 2, 3, 7, 50] {
            assert_eq!(times(278, steps).len(), steps as usize);
        }
        let slow = times(25_000, 100);
        assert!(slow.windows(2).all(|pair| pair[1] - pair[0] == 25_000) && slow.len() == 100);
    }

    #[test]
    fn braking_takes_the_distance_of_the_ramp() {
        let mut ramp = Ramp::to_delay(278);
        for _ in 0..1000 {
            ramp.next_delay(100_000);
        }
        let steps = std::iter::from_fn(|| ramp.next_delay(0)).count();
        assert!((190..=212).contains(&steps), "{steps}");
    }

    #[test]
    fn another_speed_on_the_way_is_reached_by_ramp() {
        let mut ramp = Ramp::to_delay(278);
        (0..1000).for_each(|_| _ = ramp.next_delay(100_000));
        ramp.set_target(625);
        let delays: Vec<u32> = (0..1000).filter_map(|_| ramp.next_delay(100_000)).collect();
        assert_eq!(*delays.last().unwrap(), 625);
        assert!(delays.windows(2).all(|pair| pair[1] >= pair[0]));
        ramp.set_target(278);
        assert_eq!((0..1000).filter_map(|_| ramp.next_delay(100_000)).last(), Some(278));
    }

    #[test]
    fn speeds_become_whole_ticks() {
        // 2 MHz / (90·80) = 277.8; 40 mm/s divides evenly.
        assert_eq!((delay_for(90.0), delay_for(40.0), delay_for(1.0)), (278, 625, 25_000));
    }
}
