//! Turns what the pins' and the bus's threads saw into evidence, and what they cannot have seen into losses.

use crate::capture::{EdgeChannel, Loss, Part, SampleChannel, Tick};

/// Something that a thread saw.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Seen {
    /// A transition; the kernel numbers those of each pin from 1.
    Edge { channel: EdgeChannel, number: u32, at: Tick, level: bool },
    /// A reading.
    Sample { channel: SampleChannel, at: Tick, code: i32 },
    /// A reading that failed.
    Missed { channel: SampleChannel, at: Tick, why: String },
}

/// Keeps account of every pin.
#[derive(Debug, Clone, Default)]
pub struct Intake {
    numbers: [u32; EdgeChannel::ALL.len()],
    levels: [bool; EdgeChannel::ALL.len()],
    latest: [Tick; EdgeChannel::ALL.len()],
    settled: Tick,
}

impl Intake {
    /// States the level of a pin at the start.
    pub fn begin(&mut self, channel: EdgeChannel, level: bool, into: &mut Part) {
        self.levels[channel as usize] = level;
        into.push_edge(channel, 0, level);
    }

    /// Takes what a thread saw.
    pub fn take(&mut self, seen: Seen, into: &mut Part) {
        match seen {
            Seen::Edge { channel, number, at, level } => self.edge(channel, number, at, level, into),
            Seen::Sample { channel, at, code } => into.push_sample(channel, at, code),
            Seen::Missed { channel, at, why } => {
                let what = format!("a reading of `{}`: {why}", channel.name());
                into.losses.push(Loss { at, what });
            }
        }
    }

    fn edge(&mut self, channel: EdgeChannel, number: u32, at: Tick, level: bool, into: &mut Part) {
        let before = std::mem::replace(&mut self.numbers[channel as usize], number);
        let missing = number.wrapping_sub(before).wrapping_sub(1);
        if missing != 0 {
            let what = format!(
                "{missing} edges of `{}`: the kernel's numbers jumped from {before} to {number}",
                channel.name()
            );
            into.losses.push(Loss { at, what });
        }
        if at < self.settled {
            let what =
                format!("an edge of `{}` in time: it came after its moment was taken as settled", channel.name());
            into.losses.push(Loss { at, what });
        }
        self.levels[channel as usize] = level;
        self.latest[channel as usize] = at;
        into.push_edge(channel, at, level);
    }

    /// Notes that all edges up to `at` should have come, and compares the level that a pin had then with its last edge.
    pub fn settle(&mut self, at: Tick, levels: impl IntoIterator<Item = (EdgeChannel, bool)>, into: &mut Part) {
        self.settled = at;
        for (channel, level) in levels {
            // Pins that moved since are judged the next time.
            if self.latest[channel as usize] <= at && self.levels[channel as usize] != level {
                let what = format!("an edge of `{}`: its level changed without one", channel.name());
                into.losses.push(Loss { at, what });
                self.levels[channel as usize] = level;
            }
        }
    }

    /// Notes edges that found no room on their way here.
    pub fn overflowed(&mut self, count: usize, into: &mut Part) {
        if count > 0 {
            let what = format!("{count} edges and samples that the run did not collect in time");
            into.losses.push(Loss { at: self.latest.into_iter().max().unwrap_or(0), what });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edge(number: u32, at: Tick, level: bool) -> Seen {
        Seen::Edge { channel: EdgeChannel::LeftEndStop, number, at, level }
    }

    fn losses(part: &Part) -> Vec<&str> {
        part.losses.iter().map(|loss| loss.what.as_str()).collect()
    }

    #[test]
    fn numbers_without_a_gap_are_no_loss() {
        let (mut intake, mut part) = (Intake::default(), Part::default());
        intake.begin(EdgeChannel::LeftEndStop, false, &mut part);
        for number in 1..=4 {
            intake.take(edge(number, Tick::from(number) * 10, number % 2 == 1), &mut part);
        }
        intake.settle(50, [(EdgeChannel::LeftEndStop, false)], &mut part);
        assert_eq!(part.losses, []);
        assert_eq!(part.edges(EdgeChannel::LeftEndStop).len(), 5);
    }

    #[test]
    fn a_gap_a_late_edge_and_a_silent_pin_are_losses() {
        let (mut intake, mut part) = (Intake::default(), Part::default());
        intake.begin(EdgeChannel::LeftEndStop, false, &mut part);
        intake.take(edge(1, 10, true), &mut part);
        intake.take(edge(5, 20, true), &mut part);
        intake.settle(30, [(EdgeChannel::LeftEndStop, false)], &mut part);
        intake.take(edge(6, 25, false), &mut part);
        intake.overflowed(3, &mut part);
        let expected = [
            "3 edges of `left end stop`: the kernel's numbers jumped from 1 to 5",
            "an edge of `left end stop`: its level changed without one",
            "an edge of `left end stop` in time: it came after its moment was taken as settled",
            "3 edges and samples that the run did not collect in time",
        ];
        assert_eq!(losses(&part), expected);
    }

    #[test]
    fn a_reading_that_failed_is_a_loss() {
        let (mut intake, mut part) = (Intake::default(), Part::default());
        let channel = SampleChannel::PackVoltage;
        intake.take(Seen::Sample { channel, at: 5, code: 5760 }, &mut part);
        intake.take(Seen::Missed { channel, at: 9, why: "no answer".to_owned() }, &mut part);
        assert_eq!((part.samples(channel).len(), losses(&part)), (1, vec!["a reading of `pack voltage`: no answer"]));
    }
}
