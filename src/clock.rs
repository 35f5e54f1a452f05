//! The two clocks of a bench, and the only reader of the computer's own.
//!
//! The computer's tick ([`HostTime`]) decides when to give up; the jig's tick ([`crate::capture::Tick`]) decides how long
//! something took. Wall time ([`WallTime`]) labels a record and is never subtracted. On a simulated bench time is handed
//! out by the simulated world, so that a plan of five minutes takes milliseconds.

#[cfg_attr(target_os = "linux", path = "clock/enabled.rs")]
#[cfg_attr(not(target_os = "linux"), path = "clock/disabled.rs")]
mod calendar;

use std::time::Duration;

/// A moment on the bench computer's monotonic clock: nanoseconds since an arbitrary start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct HostTime(u64);

impl HostTime {
    /// A moment `nanoseconds` after the clock's arbitrary start.
    pub const fn from_nanos(nanoseconds: u64) -> Self {
        Self(nanoseconds)
    }

    /// Nanoseconds since the clock's arbitrary start.
    pub const fn as_nanos(self) -> u64 {
        self.0
    }

    /// The moment `wait` later; the end of time rather than an overflow.
    pub fn after(self, wait: Duration) -> Self {
        Self(self.0.saturating_add(u64::try_from(wait.as_nanos()).unwrap_or(u64::MAX)))
    }

    /// The moment `wait` earlier; the clock's start rather than before it.
    pub fn before(self, wait: Duration) -> Self {
        Self(self.0.saturating_sub(u64::try_from(wait.as_nanos()).unwrap_or(u64::MAX)))
    }

    /// How long ago `earlier` was; zero when it is not earlier.
    pub fn since(self, earlier: HostTime) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0))
    }
}

/// Calendar time, in UTC. It labels; it measures nothing.
pub type WallTime = time::OffsetDateTime;

/// Where a run's host time comes from.
pub trait Clock {
    /// The present moment on the monotonic clock.
    fn now(&self) -> HostTime;
    /// The present calendar time.
    fn wall(&self) -> WallTime;
}

/// The computer's clock, optionally running faster than life for a bench whose world does.
#[derive(Debug, Clone)]
pub struct ComputerClock {
    origin: Duration,
    scale: f64,
}

impl ComputerClock {
    /// The computer's clock as it is.
    pub fn new() -> Self {
        Self::scaled(1.0)
    }

    /// A clock on which `scale` seconds pass in each of the computer's: for a served simulated bench that runs fast.
    pub fn scaled(scale: f64) -> Self {
        assert!(scale.is_finite() && scale > 0.0, "a clock's scale is a positive number");
        Self { origin: monotonic(), scale }
    }

    /// How long the computer itself has to wait until `moment`.
    pub fn computer_wait(&self, moment: HostTime) -> Duration {
        moment.since(self.now()).div_f64(self.scale)
    }

    /// How far the calendar clock may be wrong. `None` where nothing keeps it right, or nobody says so.
    pub fn wall_uncertainty(&self) -> Option<Duration> {
        calendar::uncertainty()
    }

    /// The moment of a stamp that the kernel took on its monotonic clock; the beginning for an earlier one.
    pub fn at_monotonic(&self, since_boot: Duration) -> HostTime {
        let elapsed = since_boot.saturating_sub(self.origin);
        HostTime::default().after(if self.scale == 1.0 { elapsed } else { elapsed.mul_f64(self.scale) })
    }

    /// Sleeps until `moment`.
    #[expect(clippy::disallowed_methods, reason = "the one home of the computer's clock")]
    pub fn sleep_until(&self, moment: HostTime) {
        std::thread::sleep(self.computer_wait(moment));
    }
}

impl Default for ComputerClock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for ComputerClock {
    fn now(&self) -> HostTime {
        self.at_monotonic(monotonic())
    }

    #[expect(clippy::disallowed_methods, reason = "the one home of the computer's clock")]
    fn wall(&self) -> WallTime {
        WallTime::now_utc()
    }
}

fn monotonic() -> Duration {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::Monotonic);
    Duration::new(now.tv_sec as u64, now.tv_nsec as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scaled_clock_runs_faster_and_waits_less() {
        let clock = ComputerClock::scaled(10.0);
        let later = clock.now().after(Duration::from_secs(10));
        let wait = clock.computer_wait(later);
        assert!(wait <= Duration::from_secs(1) && wait > Duration::from_millis(500), "{wait:?}");
    }

    /// A computer without a time server has none to state; a stated one is some use.
    #[test]
    fn a_stated_uncertainty_of_the_calendar_is_finite_and_not_nothing() {
        if let Some(stated) = ComputerClock::new().wall_uncertainty() {
            assert!(stated > Duration::ZERO && stated < Duration::from_secs(3600), "{stated:?}");
        }
    }

    #[test]
    fn host_time_saturates_at_both_ends() {
        let start = HostTime::from_nanos(5);
        assert_eq!(start.since(HostTime::from_nanos(9)), Duration::ZERO);
        assert_eq!(HostTime::from_nanos(u64::MAX).after(Duration::from_secs(1)).as_nanos(), u64::MAX);
    }
}
