//! The world as a whole, through its own door: bytes in, bytes and edges out.

mod drive;
mod faults;
mod healthy;
mod in_process;
mod mechanics;
mod talk;

use super::{Fault, SimTime, World, WorldSettings};
use crate::capture::{EdgeChannel, OutputChannel, Part};

/// One millisecond of the world.
pub(super) const MS: SimTime = 1_000_000;

/// A world with a patient operator.
pub(super) struct Rig {
    pub world: World,
    pub part: Part,
    said: Vec<u8>,
    /// What the unit has said, and when the bench had it.
    pub lines: Vec<(SimTime, String)>,
}

impl Rig {
    pub fn new(settings: &WorldSettings) -> Self {
        Self { world: World::new(settings), part: Part::default(), said: Vec::new(), lines: Vec::new() }
    }

    /// A unit of a seed, with faults, switched on and ready.
    pub fn ready(seed: u64, faults: &[&str]) -> Self {
        let faults = faults.iter().map(|fault| Fault::parse(fault).unwrap()).collect();
        let mut rig = Self::new(&WorldSettings { seed, faults, ..WorldSettings::default() });
        rig.drive(OutputChannel::UnitSupply, true);
        rig.wait(1000);
        rig
    }

    /// The same, homed at the left end and with a fresh capture.
    pub fn homed(seed: u64, faults: &[&str]) -> Self {
        let mut rig = Self::ready(seed, faults);
        assert_eq!(rig.travel("HOME L").as_deref(), Some("DONE HOME 0.00"), "seed {seed} {faults:?}");
        rig.part.clear();
        rig
    }

    pub fn drive(&mut self, output: OutputChannel, on: bool) {
        self.world.drive(output, on, &mut self.part);
    }

    /// Waits some milliseconds and listens.
    pub fn wait(&mut self, ms: u64) {
        let until = self.world.now() + ms * MS;
        while self.world.now() < until {
            self.listen(until);
        }
    }

    fn listen(&mut self, until: SimTime) -> bool {
        self.world.advance_until_said(until, &mut self.part);
        let before = self.said.len();
        self.world.take_said(&mut self.said);
        if self.said.last() == Some(&b'\n') && self.said.len() > before {
            let line = String::from_utf8_lossy(&self.said).trim_end().to_string();
            self.lines.push((self.world.now(), line));
            self.said.clear();
            return true;
        }
        false
    }

    pub fn send(&mut self, line: &str) {
        self.world.unit_hears(format!("{line}\n").as_bytes());
    }

    /// Sends a line and returns the next answer, or nothing within a second.
    pub fn ask(&mut self, line: &str) -> Option<String> {
        self.send(line);
        self.hear("", 1)
    }

    /// Waits for a line that begins so, `seconds` at most.
    pub fn hear(&mut self, begins: &str, seconds: u64) -> Option<String> {
        let until = self.world.now() + seconds * 1000 * MS;
        while self.world.now() < until {
            if self.listen(until) && self.lines.last().is_some_and(|(_, line)| line.starts_with(begins)) {
                return self.lines.last().map(|(_, line)| line.clone());
            }
        }
        None
    }

    /// Orders a motion, waits for its end and for all to calm down.
    pub fn travel(&mut self, line: &str) -> Option<String> {
        if self.ask(line)? != format!("OK {line}") {
            return None;
        }
        let done = self.hear("DONE", 90);
        self.wait(500);
        done
    }

    /// Whether the unit said a line that begins so.
    pub fn has_said(&self, begins: &str) -> bool {
        self.lines.iter().any(|(_, line)| line.starts_with(begins))
    }

    pub fn carriage_mm(&self) -> f64 {
        self.world.carriage() * 1e3
    }

    /// Intervals between the steps in the middle half of the capture's steps, ticks.
    pub fn cruise_intervals(&self) -> Vec<u64> {
        let steps = self.part.edges(EdgeChannel::Step);
        let middle = &steps[steps.len() / 4..steps.len() * 3 / 4];
        middle.windows(2).map(|pair| pair[1].tick() - pair[0].tick()).collect()
    }

    /// Mean speed in the middle half of the capture's encoder edges, mm/s by the jig's clock.
    pub fn cruise_speed(&self) -> f64 {
        let edges = self.part.edges(EdgeChannel::EncoderA);
        let middle = &edges[edges.len() / 4..edges.len() * 3 / 4];
        let ticks = middle[middle.len() - 1].tick() - middle[0].tick();
        // One track has 20 edges to the millimetre.
        (middle.len() - 1) as f64 / 20.0 / (ticks as f64 / super::TICKS_PER_SECOND as f64)
    }
}

/// Mean and greatest deviation from it, in the unit of the values.
pub(super) fn mean_and_spread(values: &[u64]) -> (f64, f64) {
    let mean = values.iter().sum::<u64>() as f64 / values.len() as f64;
    (mean, values.iter().map(|&value| (value as f64 - mean).abs()).fold(0.0, f64::max))
}
