//! The world as a whole, through its own door: bytes in, bytes and edges out.

mod healthy;

use super::{Fault, SimTime, World, WorldSettings};
use crate::capture::{EdgeChannel, OutputChannel, Part};

/// One millisecond of the world.
pub(super) const MS: SimTime = 1_000_000;

/// A world with a patient operator.
pub(super) struct Rig {
    pub world: World,
    pub part: Part,
    said: Vec<u8>,
    pub lines: Vec<(SimTime, String)>,
}

impl Rig {
    pub fn new(settings: &WorldSettings) -> Self {
        Self { world: World::new(settings), part: Part::default(), said: Vec::new(), lines: Vec::new() }
    }

    /// A healthy unit of a seed, or one with faults, switched on and ready.
    pub fn ready(seed: u64, faults: &[&str]) -> Self {
        let faults = faults.iter().map(|fault| Fault::parse(fault).unwrap()).collect();
        let mut rig = Self::new(&WorldSettings { seed, faults, ..WorldSettings::default() });
        rig.drive(OutputChannel::UnitSupply, true);
        rig.wait(1000);
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

    /// Sends a line and returns the next answer, or nothing within a second.
    pub fn ask(&mut self, line: &str) -> String {
        self.send(line);
        self.hear_any(1000).unwrap_or_default()
    }

    pub fn send(&mut self, line: &str) {
        self.world.unit_hears(format!("{line}\n").as_bytes());
    }

    fn hear_any(&mut self, ms: u64) -> Option<String> {
        let until = self.world.now() + ms * MS;
        while self.world.now() < until {
            if self.listen(until) {
                return self.lines.last().map(|(_, line)| line.clone());
            }
        }
        None
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

    /// Orders a motion and waits for its end.
    pub fn travel(&mut self, line: &str) -> Option<String> {
        let answer = self.ask(line);
        if answer != format!("OK {line}") {
            return None;
        }
        let done = self.hear("DONE", 90);
        self.wait(300);
        done
    }

    pub fn steps(&self) -> usize {
        self.part.edges(EdgeChannel::Step).len() - 1
    }
}
