//! Writes a value change dump that other viewers open, and our own reader reads as what it was.
//!
//! Of a step pulse only the beginning was captured, so it is an event and no level. Samples are reals in SI, each of them
//! stated. What is lost is a moment at which dumping was off.

use crate::capture::{Calibrations, Channel, EdgeChannel, Happened, Tick};
use std::io::{self, Write};

/// The finest timescale that there is: a femtosecond.
const POWER_MAX: u32 = 15;

/// What stands before the number of units of the timescale in a tick, so that our own reader knows what its times tell apart.
const TICK: &str = "units of the timescale in a tick:";

/// A dump that is being written.
pub struct VcdWriter<W> {
    into: W,
    channels: Vec<Channel>,
    calibrations: Calibrations,
    /// Units of the timescale in a second, and ticks in a second.
    scale: (u128, u128),
    now: Option<u128>,
    failure: Option<io::Error>,
}

impl<W: Write> VcdWriter<W> {
    /// Begins a dump of these channels, with a comment.
    pub fn new(into: W, about: &str, ticks_per_second: u64, channels: &[Channel], calibrations: &Calibrations) -> Self {
        let ticks = u128::from(ticks_per_second);
        // The coarsest that a tick is a whole number of; where there is none, a picosecond.
        let power = (0..=POWER_MAX).find(|power| 10u128.pow(*power).is_multiple_of(ticks)).unwrap_or(12);
        let mut writer = Self {
            into,
            channels: channels.to_vec(),
            calibrations: *calibrations,
            scale: (10u128.pow(power), ticks),
            now: None,
            failure: None,
        };
        let head = writer.head(about, power);
        writer.put(&head);
        writer.time(0);
        writer
    }

    /// What a channel is called in it.
    pub fn name(channel: Channel) -> String {
        channel.name().replace(' ', "_")
    }

    fn head(&self, about: &str, power: u32) -> String {
        let unit = ["s", "ms", "us", "ns", "ps", "fs"][power.div_ceil(3) as usize];
        let count = 10u32.pow(power.div_ceil(3) * 3 - power);
        let variables = self.channels.iter().enumerate().map(|(place, channel)| {
            let kind = match channel {
                Channel::Edge(EdgeChannel::Step) => "event 1",
                Channel::Sample(_) => "real 64",
                _ => "wire 1",
            };
            format!("$var {kind} {} {} $end\n", code(place), Self::name(*channel))
        });
        let about = about.replace('$', "");
        let tick = self.scale.0 / self.scale.1;
        format!(
            "$version railproof {} $end\n$comment {about} $end\n$comment {TICK} {tick} $end\n$timescale {count} {unit} $end\n$scope module bench $end\n\
             {}$upscope $end\n$enddefinitions $end\n",
            env!("CARGO_PKG_VERSION"),
            variables.collect::<String>()
        )
    }

    /// Writes what happened, in order of time.
    pub fn happened(&mut self, at: Tick, happened: &Happened) {
        self.time(at);
        let place = |channel| self.channels.iter().position(|known| *known == channel);
        let code = happened.channel().and_then(place).map(code);
        match (happened, code) {
            (Happened::Lost(_), _) => self.put("$dumpoff\n$end\n$dumpon\n$end\n"),
            (Happened::Level(_, level) | Happened::Switched(_, level), Some(code)) => {
                self.put(&format!("{}{code}\n", u8::from(*level)));
            }
            (Happened::Code(channel, number), Some(code)) => {
                if let Some(calibration) = &self.calibrations[channel.index()] {
                    let value = calibration.value(*number);
                    self.put(&format!("r{value} {code}\n"));
                }
            }
            (_, None) => {}
        }
    }

    /// Ends the dump at its last moment.
    ///
    /// # Errors
    /// What could not be written.
    pub fn finish(mut self, ended: Tick) -> io::Result<W> {
        self.time(ended);
        match self.failure {
            Some(failure) => Err(failure),
            None => Ok(self.into),
        }
    }

    fn time(&mut self, at: Tick) {
        let (units, ticks) = self.scale;
        let now = (u128::from(at) * units + ticks / 2) / ticks;
        if self.now.is_none_or(|before| before < now) {
            self.now = Some(now);
            self.put(&format!("#{now}\n"));
        }
    }

    fn put(&mut self, text: &str) {
        if self.failure.is_none() {
            self.failure = self.into.write_all(text.as_bytes()).err();
        }
    }
}

/// The identifier code of a variable: printable characters from `!` on, of which there are more than channels.
fn code(place: usize) -> char {
    char::from(b'!' + (place % 94) as u8)
}

/// How many units of the timescale are a tick, where a comment says so.
pub(super) fn tick(comment: &str) -> Option<u64> {
    comment.strip_prefix(TICK)?.trim().parse().ok()
}
