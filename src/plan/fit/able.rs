//! What unit and jig are able to do at a moment of the plan.

use super::{Fitter, shown};
use crate::capture::{EdgeChannel, OutputChannel};
use crate::plan::draft::Put;
use crate::plan::moves::Pace;
use crate::quantity::Dimension;
use crate::written::{Place, nearest};

impl Fitter<'_> {
    pub(super) fn supplied(&self, name: &str, at: &Place) {
        if !self.switched.supply {
            let what = format!("the unit's supply is off here, so that it cannot do this `{name}`");
            self.notes.add(at, what, "put `- power: on` before it; a run begins with the supply off");
        }
    }

    pub(super) fn at_home(&self, name: &str, at: &Place) -> bool {
        if self.switched.supply && !self.homed {
            let what = format!(
                "nobody knows where the carriage stands before this `{name}`: no home since the supply came on"
            );
            self.notes.add(at, what, "put `- home: left` or `- home: right` before it");
        }
        self.homed || !self.switched.supply
    }

    pub(super) fn pace(&self, pace: &Pace) -> Option<(f64, Option<u8>)> {
        match pace {
            Pace::Level(level) => self.level(level).map(|(number, speed)| (speed, Some(number))),
            Pace::Speed(speed) => {
                let highest = self.envelope.speed_max;
                if speed.value > highest * (1.0 + 1e-9) {
                    let what = format!(
                        "{} is faster than the unit file allows, which is {}",
                        shown(speed.value, Dimension::Speed),
                        shown(highest, Dimension::Speed)
                    );
                    self.notes.add(&speed.at, what, format!("write at most `{}`", shown(highest, Dimension::Speed)));
                }
                Some((speed.value, None))
            }
        }
    }

    pub(super) fn level(&self, level: &Put<u32>) -> Option<(u8, f64)> {
        let count = self.envelope.levels.len();
        let speed = self.envelope.levels.get(level.value as usize - 1);
        match (speed, u8::try_from(level.value)) {
            (Some(&speed), Ok(number)) => Some((number, speed)),
            _ => {
                let what = format!("there is no level {}: the unit has {count}", level.value);
                self.notes.add(&level.at, what, format!("write a level from 1 to {count}"));
                None
            }
        }
    }

    /// The number of a control that the unit has and the jig can press.
    pub(super) fn control(&self, control: &Put<String>) -> Option<u8> {
        let controls = &self.envelope.controls;
        let Some(number) = controls.iter().position(|name| *name == control.value) else {
            let right = match nearest(&control.value, controls.iter().map(String::as_str)) {
                Some(name) => format!("did you mean `{name}`?"),
                None if controls.is_empty() => "this unit file lists no `controls`".into(),
                None => format!("the unit's controls are {}", controls.join(", ")),
            };
            self.notes.add(&control.at, format!("the unit has no control `{}`", control.value), right);
            return None;
        };
        let number = u8::try_from(number).ok()?;
        self.output(OutputChannel::Press(number), &control.at);
        Some(number)
    }

    pub(super) fn output(&self, output: OutputChannel, at: &Place) {
        if !self.envelope.outputs.contains(&output) {
            let what =
                format!("this needs the output `{}`, which the jig `{}` lacks", output.name(), self.envelope.jig);
            self.notes.add(at, what, "run the plan on a jig that has it, or take this move out");
        }
    }

    pub(super) fn command(&self, command: &str, at: &Place) {
        if !self.envelope.commands.contains(&command) {
            let what = format!("the unit's firmware has no command for `{command}`");
            self.notes.add(at, what, "add the command to the unit file, or do without this move");
        }
        let seen = self.envelope.tells_rest || self.envelope.edges.contains(&EdgeChannel::Step);
        if !seen && !matches!(command, "select" | "send") {
            let jig = &self.envelope.jig;
            let what =
                format!("the unit does not tell when a motion ends, and the jig `{jig}` lacks the channel `step`");
            self.notes.add(at, what, "run the plan on a jig that sees the steps");
        }
    }
}
