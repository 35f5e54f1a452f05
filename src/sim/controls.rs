//! The unit's controls under the jig's solenoids: a press takes its time to reach the contact, and the contact bounces.

use super::SimTime;
use super::chance::{Chance, Stream};
use super::contact::Contact;
use super::firmware::CONTROLS;

/// How a control and the solenoid over it are made.
#[derive(Debug, Clone, PartialEq)]
pub struct ControlMake {
    /// From the solenoid's current to the first contact, and from its end to the opening, s (common practice, no source:
    /// small solenoids need 5 to 20 ms).
    pub travel: f64,
    /// Longest bounce of the contact, s (common practice: key contacts bounce for a fraction of a millisecond to some).
    pub bounce: f64,
    /// Never closes: broken, or its solder joint is open.
    pub dead: bool,
}

impl ControlMake {
    /// A sound control.
    pub const fn sound() -> Self {
        Self { travel: 6e-3, bounce: 1.2e-3, dead: false }
    }
}

/// All controls of the unit.
#[derive(Debug, Clone)]
pub struct Controls {
    makes: [ControlMake; CONTROLS],
    contacts: [Contact; CONTROLS],
    chance: Chance,
    next_change: SimTime,
}

impl Controls {
    /// Controls that nobody presses.
    pub fn new(makes: [ControlMake; CONTROLS], seed: u64) -> Self {
        Self {
            makes,
            contacts: [const { Contact::at_rest(false) }; CONTROLS],
            chance: Chance::new(seed ^ 0xc047, Stream::Bar),
            next_change: SimTime::MAX,
        }
    }

    /// The jig presses a control or lets it go.
    pub fn press(&mut self, control: usize, on: bool, now: SimTime) {
        let Some(make) = self.makes.get(control).filter(|make| !make.dead) else { return };
        let reaches = now + (make.travel * 1e9 * self.chance.between(0.9, 1.1)) as SimTime;
        self.contacts[control].go(reaches, on, make.bounce, &mut self.chance);
        self.look();
    }

    /// When a line changes next.
    #[inline]
    pub fn next_change(&self) -> SimTime {
        self.next_change
    }

    /// Takes a change at or before `until`: control, moment, level.
    pub fn take_change(&mut self, until: SimTime) -> Option<(usize, SimTime, bool)> {
        let next = (0..CONTROLS).min_by_key(|&control| self.contacts[control].next_change())?;
        let (at, level) = self.contacts[next].take_change(until)?;
        self.look();
        Some((next, at, level))
    }

    fn look(&mut self) {
        self.next_change = self.contacts.iter().map(Contact::next_change).min().unwrap_or(SimTime::MAX);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_press_reaches_its_contact_and_bounces_and_a_dead_one_does_not() {
        let mut makes = [const { ControlMake::sound() }; CONTROLS];
        makes[2].dead = true;
        let mut controls = Controls::new(makes, 3);
        controls.press(1, true, 1_000_000);
        controls.press(2, true, 1_000_000);
        controls.press(CONTROLS, true, 1_000_000);
        let mut changes = Vec::new();
        while let Some(change) = controls.take_change(SimTime::MAX) {
            changes.push(change);
        }
        assert!(changes.iter().all(|change| change.0 == 1), "{changes:?}");
        assert!(changes.len() >= 3 && changes.len() % 2 == 1 && changes[changes.len() - 1].2);
        let (first, last) = (changes[0].1, changes[changes.len() - 1].1);
        assert!((6_400_000..=7_600_000).contains(&first) && last - first < 3_000_000, "{first} {last}");
        assert_eq!(controls.next_change(), SimTime::MAX);
    }
}
