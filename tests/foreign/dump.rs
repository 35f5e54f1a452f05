//! A small writer of value change dumps, apart from the reader that it is to test.

use railproof::capture::{CaptureSink, EdgeChannel, Mark, Part, SampleChannel};
use std::fmt::Write;

/// Everything of a capture that a logic analyser with analogue inputs would see.
#[derive(Default)]
pub struct Dump {
    /// Tick, identifier code, and what is written for it.
    changes: Vec<(u64, char, String)>,
    signals: Vec<(char, String, bool)>,
    /// The last tick that was looked at.
    pub ended: u64,
}

impl Dump {
    /// The code of a signal.
    fn code(&mut self, name: &str, is_real: bool) -> char {
        if let Some(known) = self.signals.iter().find(|signal| signal.1 == name) {
            return known.0;
        }
        let code = char::from(b'!' + self.signals.len() as u8);
        self.signals.push((code, name.to_owned(), is_real));
        code
    }

    pub fn level(&mut self, name: &str, tick: u64, level: bool) {
        let code = self.code(name, false);
        self.changes.push((tick, code, format!("{}{code}", u8::from(level))));
    }

    pub fn real(&mut self, name: &str, tick: u64, value: f64) {
        let code = self.code(name, true);
        self.changes.push((tick, code, format!("r{value:.17e} {code}")));
    }

    /// The dump; a tick is so many of its timescale.
    pub fn text(mut self, timescale: &str, each: u64) -> String {
        let mut text = format!("$date today $end\n$timescale {timescale} $end\n$scope module bench $end\n");
        for (code, name, is_real) in &self.signals {
            let kind = if *is_real { "real 64" } else { "wire 1" };
            writeln!(text, "$var {kind} {code} {name} $end").unwrap();
        }
        text.push_str("$upscope $end\n$enddefinitions $end\n");
        self.changes.sort_by_key(|change| change.0);
        let mut now = None;
        for (tick, _, written) in &self.changes {
            if now != Some(*tick) {
                writeln!(text, "#{}", tick * each).unwrap();
                now = Some(*tick);
            }
            writeln!(text, "{written}").unwrap();
        }
        if now < Some(self.ended) {
            writeln!(text, "#{}", self.ended * each).unwrap();
        }
        text
    }
}

/// A run's capture as a dump sees it: step pulses fall again after two ticks, and samples are volts and degrees.
pub struct Dumping<'a> {
    pub dump: &'a mut Dump,
    pub gain: fn(SampleChannel) -> Option<(&'static str, f64)>,
}

impl CaptureSink for Dumping<'_> {
    fn part(&mut self, part: &Part) {
        for channel in EdgeChannel::ALL {
            let name = channel.name().replace(' ', "_");
            for edge in part.edges(channel) {
                if channel == EdgeChannel::Step {
                    self.dump.level(&name, edge.tick() + 2, false);
                }
                self.dump.level(&name, edge.tick(), edge.level());
            }
        }
        for channel in (0..SampleChannel::COUNT).filter_map(SampleChannel::at) {
            if let Some((name, gain)) = (self.gain)(channel) {
                for sample in part.samples(channel) {
                    self.dump.real(name, sample.at, f64::from(sample.code) * gain);
                }
            }
        }
    }

    fn mark(&mut self, mark: &Mark) {
        self.dump.ended = mark.at;
    }
}
