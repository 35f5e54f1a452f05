//! Readings of a channel on the bench itself, while a reference is set by hand.
//!
//! Nothing is switched and nothing moves: the jig opened with its outputs off, and stays so. What the unit might say
//! meanwhile is not listened to; its port is where the bench's time passes.

use super::{Reading, Target, reading_uncertainty};
use crate::capture::{Part, SampleChannel};
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

/// A bench whose channels are read, and nothing else.
pub struct Live<'b> {
    pub clock: &'b dyn Clock,
    pub port: &'b mut dyn Port,
    pub jig: &'b mut dyn Jig,
    /// Set from outside to break off.
    pub interrupted: &'b AtomicBool,
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
    /// Codes are missing that the jig knows of.
    #[error("{what}; what is left proves nothing, calibrate again")]
    Lost { what: String },
    #[error(
        "{codes} codes of `{channel}` came; at least {CODES_MIN} are needed: look at its wires, or give more --seconds"
    )]
    TooFew { channel: String, codes: usize },
}

impl Live<'_> {
    /// Lets the bench be until `wait` is over or `is_over` says so, and forgets what it samples meanwhile.
    ///
    /// # Errors
    /// Where the bench fails, or somebody interrupts.
    pub fn idle(&mut self, wait: Option<Duration>, mut is_over: impl FnMut() -> bool) -> Result<(), NotRead> {
        let end = wait.map(|wait| self.clock.now().after(wait));
        let mut part = Part::default();
        while !is_over() && end.is_none_or(|end| self.clock.now() < end) {
            self.look(end, &mut part)?;
            part.clear();
        }
        Ok(())
    }

    /// Reads a channel for so long: the mean of its codes against what a reference says.
    ///
    /// # Errors
    /// Where the bench fails, codes are lost or do not come, or somebody interrupts.
    pub fn read(
        &mut self,
        target: &Target,
        channel: SampleChannel,
        wait: Duration,
        reference: f64,
    ) -> Result<Reading, NotRead> {
        let mut part = Part::default();
        // What was sampled before belongs to the reading before.
        self.jig.settle(&mut part)?;
        part.clear();
        let end = self.clock.now().after(wait);
        while self.clock.now() < end && part.samples(channel).len() < CODES_MAX {
            self.look(Some(end), &mut part)?;
        }
        self.jig.settle(&mut part)?;
        if let Some(loss) = part.losses.first() {
            return Err(NotRead::Lost { what: loss.what.clone() });
        }
        let codes: Vec<f64> = part.samples(channel).iter().map(|sample| f64::from(sample.code)).collect();
        match (summary::mean(&codes), summary::standard_deviation(&codes)) {
            (Some(count), Some(scatter)) if codes.len() >= CODES_MIN => Ok(Reading {
                place: target.reference().usual_unit().show(reference),
                count,
                count_uncertainty: reading_uncertainty(Some(scatter), codes.len() as f64),
                reference,
                reference_uncertainty: 0.0,
            }),
            _ => Err(NotRead::TooFew { channel: channel.name(), codes: codes.len() }),
        }
    }

    fn look(&mut self, end: Option<HostTime>, part: &mut Part) -> Result<(), NotRead> {
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
        Ok(self.jig.collect(part)?)
    }
}
