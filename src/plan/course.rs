//! Where the carriage is and how long it takes: the geometry of a plan's motions.
//!
//! A plan is followed with the carriage's position as an interval, because a stop in motion or a press of a control leaves
//! it somewhere. A motion is allowed only if it stays on the rail from everywhere in that interval.

use crate::capture::Side;

/// How much later than planned a stop or a turn may take hold, s: link, firmware, a control's travel.
pub(super) const LATE_MAX: f64 = 0.2;

/// Where the carriage may stand, m from the left end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Whereabouts {
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Whereabouts {
    /// At one place.
    pub(super) fn at(position: f64) -> Self {
        Self { low: position, high: position }
    }

    /// Somewhere on a rail.
    pub(super) fn anywhere(travel: f64) -> Self {
        Self { low: 0.0, high: travel }
    }

    /// The middle, for expecting times.
    pub(super) fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    /// Moved by a distance; positive is to the right.
    pub(super) fn moved(self, distance: f64) -> Self {
        Self { low: self.low + distance, high: self.high + distance }
    }

    /// Whether all of it is on a rail. A hundredth of a millimetre is no argument.
    pub(super) fn within(self, travel: f64) -> bool {
        self.low >= -1e-5 && self.high <= travel + 1e-5
    }

    /// How far at least it is to an end.
    pub(super) fn room(self, side: Side, travel: f64) -> f64 {
        match side {
            Side::Left => self.low,
            Side::Right => travel - self.high,
        }
    }

    /// After a motion towards an end at `speed`, stopped or turned round after `after`. Ramps up and down take as much
    /// way as cruising for half as long each, so that way and time are simply proportional.
    pub(super) fn stopped(self, towards: Side, speed: f64, after: f64) -> Self {
        let (least, most) = (speed * after, speed * (after + LATE_MAX));
        match towards {
            Side::Left => Self { low: self.low - most, high: self.high - least },
            Side::Right => Self { low: self.low + least, high: self.high + most },
        }
    }
}

/// Where an end is, m.
pub(super) fn end(side: Side, travel: f64) -> f64 {
    match side {
        Side::Left => 0.0,
        Side::Right => travel,
    }
}

/// How long a motion over a distance takes with a trapezoid of speed, or a triangle where the distance is too short for
/// cruising, s.
pub(super) fn trapezoid(distance: f64, speed: f64, acceleration: f64) -> f64 {
    let distance = distance.abs();
    if acceleration <= 0.0 {
        return distance / speed;
    }
    if distance >= speed * speed / acceleration {
        distance / speed + speed / acceleration
    } else {
        2.0 * (distance / acceleration).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trapezoid_takes_its_time() {
        // Uniformly accelerated motion: 0.09 m/s is reached in 0.05625 s over 2.53 mm with 1.6 m/s².
        assert!((trapezoid(0.56, 0.09, 1.6) - (0.56 / 0.09 + 0.05625)).abs() < 1e-12);
        assert!((trapezoid(-0.001, 0.09, 1.6) - 0.05).abs() < 1e-12);
        assert_eq!(trapezoid(0.1, 0.05, 0.0), 2.0);
        assert_eq!(trapezoid(0.0, 0.05, 1.6), 0.0);
    }

    // Outside: 300 mm and 15 mm at 100 mm/s and 500 mm/s²: a trapezoid of 3.2 s and a triangle of 0.346 410 s; how: closed form
    #[test]
    fn a_trapezoid_and_a_triangle() {
        assert!((trapezoid(0.3, 0.1, 0.5) - 3.2).abs() < 1e-12);
        assert!((trapezoid(0.015, 0.1, 0.5) - 0.346_410_161_5).abs() < 1e-9);
    }

    #[test]
    fn a_stop_leaves_the_carriage_somewhere_ahead() {
        let stopped = Whereabouts::at(0.1).stopped(Side::Right, 0.04, 3.0);
        assert!((stopped.low - 0.22).abs() < 1e-12 && (stopped.high - 0.228).abs() < 1e-12);
        let back = stopped.stopped(Side::Left, 0.04, 3.0);
        assert!(back.low < 0.1 && back.high > 0.1 && back.within(0.56));
        assert!(!Whereabouts::at(0.1).moved(-0.11).within(0.56));
        assert_eq!(Whereabouts::anywhere(0.56).room(Side::Right, 0.56), 0.0);
    }
}
