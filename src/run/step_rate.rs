//! How fast the unit steps just now, for whoever watches: no measurement, since the computer's clock divides it.

use crate::capture::{EdgeChannel, Part};
use crate::clock::HostTime;

/// Steps since they were last asked for.
pub(super) struct StepRate {
    steps: usize,
    since: HostTime,
}

impl StepRate {
    pub(super) fn new(now: HostTime) -> Self {
        Self { steps: 0, since: now }
    }

    /// Counts the steps of a part: a step is a rising edge.
    pub(super) fn count(&mut self, part: &Part) {
        self.steps += part.edges(EdgeChannel::Step).iter().filter(|edge| edge.level()).count();
    }

    /// Steps a second since this was last asked; nothing where no time has passed.
    pub(super) fn take(&mut self, now: HostTime) -> Option<f64> {
        let seconds = now.since(self.since).as_secs_f64();
        let rate = (seconds > 0.0).then(|| self.steps as f64 / seconds);
        *self = Self::new(now);
        rate
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rising_edges_a_second_are_told_once() {
        let mut part = Part::default();
        (0..40).for_each(|edge| part.push_edge(EdgeChannel::Step, edge, edge % 2 == 0));
        let mut rate = StepRate::new(HostTime::default());
        rate.count(&part);
        assert_eq!(rate.take(HostTime::from_nanos(100_000_000)), Some(200.0));
        assert_eq!(rate.take(HostTime::from_nanos(200_000_000)), Some(0.0));
        assert_eq!(rate.take(HostTime::from_nanos(200_000_000)), None);
    }
}
