//! Readings on the bench itself, while a reference is set by hand.
//!
//! Nothing is switched and nothing is driven: the jig opened with its outputs off, and stays so. What the unit might say
//! meanwhile is not listened to; its port is where the bench's time passes.

use super::quadrature::Quadrature;
use super::{Reading, Target, reading_uncertainty};
use crate::capture::{EdgeChannel, Part, SampleChannel, Tick};
use crate::clock::{Clock, HostTime};
use crate::jig::{Jig, JigError};
use crate::port::{Port, PortError};
use crate::stats::summary;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How long the bench is left alone before somebody looks again for an interruption or an answer.
const LOOK: Duration = Duration::from_millis(50);
/// A mean takes so many codes, or its scatter is a matter of luck.
const CODES_MIN: usize = 5;
/// More codes than this are not kept: at 1 kHz a quarter of an hour.
const CODES_MAX: usize = 1_000_000;
/// Of a row of pulses so many are kept, evenly spaced: more would hardly tell more of their rate.
const PULSES_KEPT: usize = 25;
/// Two pulses are farther apart or nearer than they should be by more than this part: one is missing, or one bounced.
const UNEVEN: f64 = 0.2;

/// A bench whose channels are read, and nothing else.
pub struct Live<'b> {
    clock: &'b dyn Clock,
    port: &'b mut dyn Port,
    jig: &'b mut dyn Jig,
    interrupted: &'b AtomicBool,
    encoder: Quadrature,
    /// The first evidence that was lost; the encoder's count is wrong from then on.
    lost: Option<String>,
    part: Part,
}

/// Why nothing was read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotRead {
    #[error("interrupted; nothing was changed")]
    Interrupted,
    #[error("jig: {0}")]
    Jig(#[from] JigError),
    #[error("unit link: {0}")]
    Port(#[from] PortError),
    #[error("{what}; what is left proves nothing, calibrate again")]
    Lost { what: String },
    #[error("{count} {what} of `{channel}` came; look at its wires, or give more --seconds")]
    TooFew { channel: String, what: &'static str, count: usize },
    #[error("{what}; {remedy}")]
    Unsteady { what: String, remedy: &'static str },
}

impl<'b> Live<'b> {
    /// A bench with nothing read yet. `interrupted` is set from outside to break off.
    pub fn new(
        clock: &'b dyn Clock,
        port: &'b mut dyn Port,
        jig: &'b mut dyn Jig,
        interrupted: &'b AtomicBool,
    ) -> Self {
        let (encoder, part) = (Quadrature::default(), Part::default());
        Self { clock, port, jig, interrupted, encoder, lost: None, part }
    }

    /// Lets the bench be until `wait` is over or `is_over` says so.
    ///
    /// # Errors
    /// Where the bench fails, or somebody interrupts.
    pub fn idle(&mut self, wait: Option<Duration>, mut is_over: impl FnMut() -> bool) -> Result<(), NotRead> {
        let end = wait.map(|wait| self.clock.now().after(wait));
        while !is_over() && end.is_none_or(|end| self.clock.now() < end) {
            self.look(end)?;
            self.part.clear();
        }
        Ok(())
    }

    /// Reads a sampled channel for so long: the mean of its codes against what a reference says.
    ///
    /// # Errors
    /// Where the bench fails, codes are lost or do not come, or somebody interrupts.
    pub fn codes(&mut self, channel: SampleChannel, wait: Duration, reference: f64) -> Result<Reading, NotRead> {
        self.gather(wait, |part| part.samples(channel).len() < CODES_MAX)?;
        let codes: Vec<f64> = self.part.samples(channel).iter().map(|sample| f64::from(sample.code)).collect();
        match (summary::mean(&codes), summary::standard_deviation(&codes)) {
            (Some(count), Some(scatter)) if codes.len() >= CODES_MIN => {
                let count_uncertainty = reading_uncertainty(Some(scatter), codes.len() as f64);
                Ok(reading(count, count_uncertainty, reference, channel.dimension().usual_unit().show(reference)))
            }
            _ => Err(NotRead::TooFew { channel: channel.name(), what: "codes", count: codes.len() }),
        }
    }

    /// Reads the encoder, whose carriage stands still, against what a scale says.
    ///
    /// # Errors
    /// Where the bench fails, an edge was lost since it was opened, the carriage moves, or somebody interrupts.
    pub fn edges(&mut self, wait: Duration, reference: f64) -> Result<Reading, NotRead> {
        let begun = self.settle()?;
        let before = self.encoder.count(begun);
        let ended = self.gather(wait, |_| true)?;
        let count = self.encoder.count(ended);
        if let Some(what) = &self.lost {
            return Err(NotRead::Lost { what: what.clone() });
        }
        if count.abs_diff(before) > 1 {
            let what = format!("the carriage moved by {} edges while it was read", count.abs_diff(before));
            return Err(NotRead::Unsteady { what, remedy: "hold it still, and calibrate again" });
        }
        let place = crate::quantity::Dimension::Length.usual_unit().show(reference);
        Ok(reading(count as f64, reading_uncertainty(None, 1.0), reference, place))
    }

    /// Reads the clock for so long by the pulses of a frequency standard at an input, `period` seconds apart.
    ///
    /// # Errors
    /// Where the bench fails, evidence is lost, the pulses do not come evenly, or somebody interrupts.
    pub fn pulses(
        &mut self,
        target: &Target,
        input: EdgeChannel,
        period: f64,
        wait: Duration,
    ) -> Result<Vec<Reading>, NotRead> {
        self.gather(wait, |part| part.edges(input).len() < CODES_MAX)?;
        let rising = self.part.edges(input).iter().filter(|edge| edge.level()).map(|edge| edge.tick());
        let ticks: Vec<Tick> = rising.collect();
        let nominal = period * self.jig.identity().ticks_per_second as f64;
        if ticks.len() < super::READINGS_MIN {
            return Err(NotRead::TooFew { channel: input.name().into(), what: "pulses", count: ticks.len() });
        }
        let apart = |pair: &[Tick]| pair[1].saturating_sub(pair[0]) as f64 / nominal;
        if let Some(apart) = ticks.windows(2).map(apart).find(|apart| (apart - 1.0).abs() > UNEVEN) {
            let what = format!("two pulses of `{}` are {apart:.3} periods apart", input.name());
            return Err(NotRead::Unsteady { what, remedy: "look at --period and at the standard's output" });
        }
        let count_uncertainty = target.counted(reading_uncertainty(None, 1.0));
        let last = ticks.len() - 1;
        let kept = PULSES_KEPT.min(ticks.len());
        let numbers = (0..kept).map(|index| index * last / (kept - 1));
        let place = |number: usize| format!("pulse {}", number + 1);
        Ok(numbers
            .map(|number| {
                let count = (ticks[number] - ticks[0]) as f64;
                reading(count, count_uncertainty, number as f64 * period, place(number))
            })
            .collect())
    }

    /// Gathers what comes in the next time, and nothing from before it. Says up to when everything is there.
    fn gather(&mut self, wait: Duration, goes_on: impl Fn(&Part) -> bool) -> Result<Tick, NotRead> {
        self.settle()?;
        self.part.clear();
        let end = self.clock.now().after(wait);
        while self.clock.now() < end && goes_on(&self.part) {
            self.look(Some(end))?;
        }
        let settled = self.settle()?;
        match self.part.losses.first() {
            Some(loss) => Err(NotRead::Lost { what: loss.what.clone() }),
            None => Ok(settled),
        }
    }

    /// Lets a little time pass, and takes what came.
    fn look(&mut self, end: Option<HostTime>) -> Result<(), NotRead> {
        if self.interrupted.load(Ordering::Relaxed) {
            return Err(NotRead::Interrupted);
        }
        let soon = self.clock.now().after(LOOK);
        let until = end.map_or(soon, |end| end.min(soon));
        let mut ignored = Vec::new();
        while self.clock.now() < until {
            self.port.receive(&mut ignored, until)?;
            ignored.clear();
        }
        let mut fresh = Part::default();
        self.jig.collect(&mut fresh)?;
        self.take(fresh);
        Ok(())
    }

    /// Takes all that happened up to now, and says when that is.
    fn settle(&mut self) -> Result<Tick, NotRead> {
        let mut fresh = Part::default();
        let settled = self.jig.settle(&mut fresh)?;
        self.take(fresh);
        Ok(settled)
    }

    fn take(&mut self, mut fresh: Part) {
        self.encoder.take(&fresh);
        if self.lost.is_none() {
            self.lost = fresh.losses.first().map(|loss| loss.what.clone());
        }
        self.part.append(&mut fresh);
    }
}

fn reading(count: f64, count_uncertainty: f64, reference: f64, place: String) -> Reading {
    Reading { place, count, count_uncertainty, reference, reference_uncertainty: 0.0 }
}

#[cfg(test)]
mod tests;
