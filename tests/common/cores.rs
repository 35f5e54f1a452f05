//! Work on every core of the computer.

use std::ops::RangeInclusive;
use std::sync::atomic::{AtomicU64, Ordering};

/// What a task makes of each seed, in no order. `worker` makes the task of one core.
pub fn on_all_cores<T: Send, Task: FnMut(u64) -> T>(
    seeds: RangeInclusive<u64>,
    worker: impl Fn() -> Task + Sync,
) -> Vec<T> {
    let next = AtomicU64::new(*seeds.start());
    let work = || {
        let mut task = worker();
        let taken = std::iter::repeat_with(|| next.fetch_add(1, Ordering::Relaxed));
        taken.take_while(|seed| seeds.contains(seed)).map(&mut task).collect::<Vec<T>>()
    };
    let workers = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..workers).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|thread| thread.join().expect("no run panics")).collect()
    })
}
