//! The step clock: what the pulses of a motion say of the clock behind them, phase by phase.
//!
//! A motion speeds up, cruises and slows down, or it crawls. [`StepClock`] takes its pulses as they come, finds those phases
//! from the pulses alone, and keeps of each what the report needs: distribution of the interval, period, jitter over one and
//! more periods, time interval error, Allan deviation, the shape of the ramps, the longest gap. One pass, constant memory.
//! Nothing here knows a file or a command; the commanded rate comes in where it is compared with.

mod cruise;
mod divide;
mod estimates;
mod farthest;
mod fit;
mod increments;
mod intervals;
mod lags;
mod measurands;
mod profile;
mod ramp;
mod report;
mod steady;
#[cfg(test)]
mod tests;
mod timer;

pub use divide::{Motion, StepClock};
pub(super) use measurands::{
    ALLAN_DEVIATION, FULL_STEP_JITTER, PROFILE_TIME_ERROR, RAMP_ACCELERATION, RAMP_DECELERATION, TIME_INTERVAL_ERROR,
    of_the_step_clock,
};
pub use profile::{PartErrors, Profile, ProfileErrors};
pub(super) use report::nominal;
pub use report::{AllanPoint, ClockValue, LongestGap, MaximumError, MoveClock, PhaseClock, PhaseKind};
pub use steady::{Steadied, SteadyClock, Strays};
pub(super) use timer::{PERIOD_OFFSET, RATE_GRANULARITY, TIMER_CLOCK_ERROR};
pub use timer::{TimerFinding, TimerFit};

use super::Setup;
use crate::capture::Tick;

/// What tells a pause from a slow step, and what a tick is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rules {
    /// An interval from which on it is a pause of a crawl, ticks.
    pub pause: Tick,
    /// The most steps between two pauses that are an increment of a crawl.
    pub burst_steps: u64,
    /// Nanoseconds of a tick.
    pub ns_per_tick: f64,
}

impl Rules {
    /// For a unit on a jig. A pause is a quarter of the crawl's nominal interval, as it is for the crawl's own measurands.
    pub fn of(setup: &Setup) -> Self {
        let pause = super::values::ticks(0.25 * setup.unit.crawl_interval, setup);
        Self {
            pause: if pause == 0 { Tick::MAX } else { pause },
            burst_steps: (2.0 * setup.unit.crawl_increment * setup.unit.steps_per_metre).round() as u64,
            ns_per_tick: super::values::seconds(1e9, setup),
        }
    }
}

/// The longest interval of a stretch of pulses.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Gap {
    /// Its length, ticks.
    pub length: Tick,
    /// When it began.
    pub began: Tick,
}

impl Gap {
    /// Looks at consecutive pulses.
    fn look(&mut self, ticks: &[Tick]) {
        for pair in ticks.windows(2) {
            let length = pair[1].saturating_sub(pair[0]);
            if length > self.length {
                *self = Self { length, began: pair[0] };
            }
        }
    }
}
