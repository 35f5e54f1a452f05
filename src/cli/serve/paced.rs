//! A simulated world kept to a pace at which people can watch it: it runs as fast as it is waited for.

use crate::clock::{Clock, ComputerClock, HostTime};
use crate::event::{Event, Watcher};
use std::time::Duration;

/// Lets the computer's time catch up with the world's whenever the run tells how things stand.
pub struct Paced<'a> {
    clock: ComputerClock,
    began: Option<HostTime>,
    watcher: &'a mut dyn Watcher,
}

impl<'a> Paced<'a> {
    /// A pace of so many seconds of the world in one of the computer's.
    pub fn new(scale: f64, watcher: &'a mut dyn Watcher) -> Self {
        Self { clock: ComputerClock::scaled(scale), began: None, watcher }
    }

    /// Who is told, without any pace.
    pub fn watcher(&mut self) -> &mut dyn Watcher {
        self.watcher
    }
}

impl Watcher for Paced<'_> {
    fn see(&mut self, event: &Event<'_>) {
        self.watcher.see(event);
        if let Event::Live(live) = event {
            let elapsed = Duration::try_from_secs_f64(live.elapsed_s).unwrap_or_default();
            let now = self.clock.now();
            let began = *self.began.get_or_insert_with(|| now.before(elapsed));
            self.clock.sleep_until(began.after(elapsed));
        }
    }
}
