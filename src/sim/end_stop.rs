//! End switch: presses at its trigger point, lets go a little further out, and bounces both times.

use super::SimTime;
use super::chance::Chance;
use super::contact::Contact;

/// How a switch is made.
#[derive(Debug, Clone, PartialEq)]
pub struct EndStopMake {
    /// Where the carriage presses it, m.
    pub trigger: f64,
    /// How much further back it lets go, m (common practice, no source).
    pub hysteresis: f64,
    /// Standard deviation of the place where it presses, m (common practice, no source).
    pub scatter: f64,
    /// Longest bounce of a contact, s: a fraction of a millisecond to some (common practice, no source).
    pub bounce: f64,
    /// Never closes: broken, or its wire is off.
    pub dead: bool,
}

impl EndStopMake {
    /// A sound switch at a place.
    pub const fn sound(trigger: f64) -> Self {
        Self { trigger, hysteresis: 0.25e-3, scatter: 3e-6, bounce: 0.6e-3, dead: false }
    }
}

/// A switch with its contacts. Positions count outwards, so that one set of rules serves both ends.
#[derive(Debug, Clone)]
pub struct EndStop {
    make: EndStopMake,
    /// +1 at the right end, −1 at the left one.
    outwards: f64,
    pressed: bool,
    this_trigger: f64,
    contact: Contact,
}

impl EndStop {
    /// A switch at the left (`outwards` −1) or right (+1) end, with the carriage at `carriage`.
    pub fn new(make: EndStopMake, outwards: f64, carriage: f64) -> Self {
        let pressed = (carriage - make.trigger) * outwards > 0.0;
        let contact = Contact::at_rest(pressed && !make.dead);
        let this_trigger = make.trigger;
        Self { make, outwards, pressed, this_trigger, contact }
    }

    /// The carriage positions between which nothing happens to the switch's lever.
    pub fn window(&self) -> (f64, f64) {
        let release = self.make.trigger - self.outwards * self.make.hysteresis;
        let edge = if self.pressed { release } else { self.this_trigger };
        let inside = self.pressed == (self.outwards > 0.0);
        if inside { (edge, f64::INFINITY) } else { (f64::NEG_INFINITY, edge) }
    }

    /// The carriage left the window at a moment: makes the contact's transitions.
    pub fn moved(&mut self, at: SimTime, chance: &mut Chance) {
        self.pressed = !self.pressed;
        self.this_trigger = self.make.trigger + self.make.scatter * chance.deviate();
        if !self.make.dead {
            self.contact.go(at, self.pressed, self.make.bounce, chance);
        }
    }

    /// Takes the next change of its line, at or before `until`.
    pub fn take_change(&mut self, until: SimTime) -> Option<(SimTime, bool)> {
        self.contact.take_change(until)
    }

    /// Whether its line is open and stays so while the carriage does not come near.
    #[inline]
    pub fn is_quiet(&self) -> bool {
        self.contact.is_quiet()
    }

    /// The level of its line after the changes taken; true is pressed.
    pub fn level(&self) -> bool {
        self.contact.level()
    }
}

#[cfg(test)]
mod tests {
    use super::super::chance::Stream;
    use super::*;

    #[test]
    fn presses_bounces_and_comes_to_rest() {
        let mut chance = Chance::new(3, Stream::Contact);
        for _ in 0..200 {
            let mut stop = EndStop::new(EndStopMake::sound(0.56), 1.0, 0.3);
            assert_eq!(stop.window(), (f64::NEG_INFINITY, 0.56));
            stop.moved(1_000_000, &mut chance);
            let (mut changes, mut last) = (0, 0);
            while let Some((at, level)) = stop.take_change(SimTime::MAX) {
                assert!(at > last || changes == 0);
                assert_eq!(level, changes % 2 == 0);
                (changes, last) = (changes + 1, at);
            }
            assert!(stop.level() && changes >= 3);
            assert!(last - 1_000_000 < 1_500_000, "{last}");
            assert!((stop.window().0 - 0.55975).abs() < 1e-9);
        }
    }

    #[test]
    fn a_dead_switch_never_closes() {
        let make = EndStopMake { dead: true, ..EndStopMake::sound(0.0) };
        let mut stop = EndStop::new(make, -1.0, 0.3);
        stop.moved(5, &mut Chance::new(1, Stream::Contact));
        assert_eq!(stop.take_change(SimTime::MAX), None);
        assert!(!stop.level());
    }
}
