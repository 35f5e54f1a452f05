//! What changes over so many periods: sums for N-period jitter and the overlapping Allan deviation, lag by lag in octaves.
//!
//! Lags up to sixteen periods use every edge, and so do ten and a hundred, the decades in which published deviations are
//! given. Other long ones use every fourth edge, every sixteenth and so on, which keeps memory constant and costs a third of
//! a pass; they still overlap eight- or sixteenfold.

use std::array::from_fn;

/// Edges before a chunk that its lags may reach back to: a whole chunk, and more than twice the longest.
pub(super) const HISTORY: usize = 256;
/// Edges that are looked at together.
pub(super) const CHUNK: usize = 256;
/// Lags that use every edge.
const NEAR: [usize; 7] = [1, 2, 4, 8, 10, 16, 100];
/// Sums that run side by side, so that one addition need not wait for the last.
const LANES: usize = 4;

/// Sums over one lag.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Lag {
    /// Periods.
    pub periods: u64,
    /// Number of first differences, their sum, and that of their squares, ticks and ticks².
    pub count: f64,
    pub sum: f64,
    pub squares: f64,
    /// Number of second differences and the sum of their squares, ticks².
    pub second_count: f64,
    pub second_squares: f64,
    /// Mean squares of whole chunks, from which their scatter is known; none for the long lags.
    pub batches: Batches,
    pub second_batches: Batches,
}

/// Mean and scatter of the means of batches (Welford's recurrence).
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Batches {
    pub count: f64,
    mean: f64,
    squares: f64,
}

impl Batches {
    fn take(&mut self, value: f64) {
        self.count += 1.0;
        let apart = value - self.mean;
        self.mean += apart / self.count;
        self.squares += apart * (value - self.mean);
    }

    /// Standard uncertainty of the mean over all batches; `None` of fewer than two.
    pub fn uncertainty(&self) -> Option<f64> {
        (self.count >= 2.0).then(|| (self.squares / (self.count - 1.0) / self.count).sqrt())
    }
}

impl Lag {
    fn over(periods: u64) -> Self {
        Self { periods, ..Self::default() }
    }

    /// Mean square of the second differences, ticks²; `None` where there is none.
    pub fn second_mean_square(&self) -> Option<f64> {
        (self.second_count > 0.0).then(|| self.second_squares / self.second_count)
    }

    /// Variance of the first differences about their mean, ticks²; `None` of fewer than two.
    pub fn variance(&self) -> Option<f64> {
        let mean = self.sum / self.count;
        (self.count >= 2.0).then(|| ((self.squares - self.sum * mean) / (self.count - 1.0)).max(0.0))
    }
}

/// All lags of a clock.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lags {
    near: [Lag; NEAR.len()],
    stages: Vec<Stage>,
}

impl Default for Lags {
    fn default() -> Self {
        Self { near: NEAR.map(|periods| Lag::over(periods as u64)), stages: vec![Stage::every(4)] }
    }
}

impl Lags {
    /// Takes a chunk of deviations, `deviations[HISTORY..]`; of those before it `known` are behind. `first` is the index of
    /// the chunk's first edge.
    pub fn take(&mut self, deviations: &[f64], known: usize, first: u64) {
        match <&[f64; HISTORY + CHUNK]>::try_from(deviations) {
            Ok(whole) if known >= HISTORY => {
                self.whole::<1>(0, whole);
                self.whole::<2>(1, whole);
                self.whole::<4>(2, whole);
                self.whole::<8>(3, whole);
                self.whole::<10>(4, whole);
                self.whole::<16>(5, whole);
                self.whole::<100>(6, whole);
            }
            _ => self.near.iter_mut().for_each(|lag| part(lag, deviations, known)),
        }
        self.thin(&deviations[HISTORY..], first);
    }

    fn whole<const PERIODS: usize>(&mut self, place: usize, deviations: &[f64; HISTORY + CHUNK]) {
        let [squares, second_squares] = sums::<PERIODS>(deviations);
        let lag = &mut self.near[place];
        let ending = |end: usize| deviations[end - PERIODS..end].iter().sum::<f64>();
        // The sum of the differences telescopes.
        lag.sum += ending(HISTORY + CHUNK) - ending(HISTORY);
        lag.squares += squares;
        lag.second_squares += second_squares;
        lag.count += CHUNK as f64;
        lag.second_count += CHUNK as f64;
        lag.batches.take(squares / CHUNK as f64);
        lag.second_batches.take(second_squares / CHUNK as f64);
    }

    /// Hands every fourth edge to the longer lags.
    pub fn thin(&mut self, deviations: &[f64], first: u64) {
        let begin = (first.next_multiple_of(4) - first) as usize;
        for deviation in deviations.iter().skip(begin).step_by(4) {
            let mut passed = self.stages[0].take(*deviation);
            let mut next = 1;
            while passed {
                if next == self.stages.len() {
                    // The very first edge belongs to every stage.
                    let before = &self.stages[next - 1];
                    let mut stage = Stage::every(before.every * 4);
                    stage.take(before.ring[0]);
                    self.stages.push(stage);
                }
                passed = self.stages[next].take(*deviation);
                next += 1;
            }
        }
    }

    /// All lags, the shortest first.
    pub fn iter(&self) -> impl Iterator<Item = &Lag> {
        let mut all: Vec<&Lag> = self.near.iter().chain(self.stages.iter().flat_map(|stage| &stage.lags)).collect();
        all.sort_by_key(|lag| lag.periods);
        all.into_iter()
    }
}

/// Sums of the squares of the first and second differences.
fn sums<const PERIODS: usize>(deviations: &[f64; HISTORY + CHUNK]) -> [f64; 2] {
    let now = deviations[HISTORY..].as_chunks::<LANES>().0;
    let before = deviations[HISTORY - PERIODS..][..CHUNK].as_chunks::<LANES>().0;
    let earlier = deviations[HISTORY - 2 * PERIODS..][..CHUNK].as_chunks::<LANES>().0;
    let (mut squares, mut second_squares) = ([0.0; LANES], [0.0; LANES]);
    for ((now, before), earlier) in now.iter().zip(before).zip(earlier) {
        let difference: [f64; LANES] = from_fn(|lane| now[lane] - before[lane]);
        let second: [f64; LANES] = from_fn(|lane| difference[lane] - (before[lane] - earlier[lane]));
        squares = from_fn(|lane| squares[lane] + difference[lane] * difference[lane]);
        second_squares = from_fn(|lane| second_squares[lane] + second[lane] * second[lane]);
    }
    [squares.iter().sum(), second_squares.iter().sum()]
}

/// A chunk that is short, or has too little before it.
fn part(lag: &mut Lag, deviations: &[f64], known: usize) {
    let periods = lag.periods as usize;
    let begun = HISTORY - known.min(HISTORY);
    for at in HISTORY..deviations.len() {
        if at < begun + periods {
            continue;
        }
        let difference = deviations[at] - deviations[at - periods];
        lag.count += 1.0;
        lag.sum += difference;
        lag.squares += difference * difference;
        if at >= begun + 2 * periods {
            let second = difference - (deviations[at - periods] - deviations[at - 2 * periods]);
            lag.second_count += 1.0;
            lag.second_squares += second * second;
        }
    }
}

/// Two octaves of long lags on a thinned clock.
#[derive(Debug, Clone, PartialEq)]
struct Stage {
    every: u64,
    ring: [f64; RING],
    taken: usize,
    lags: [Lag; 2],
}

const RING: usize = 32;
/// Lags of a stage, in edges of the thinned clock.
const THINNED: [usize; 2] = [8, 16];

impl Stage {
    fn every(every: u64) -> Self {
        let lags = THINNED.map(|edges| Lag::over(edges as u64 * every));
        Self { every, ring: [0.0; RING], taken: 0, lags }
    }

    /// Takes an edge; whether it is one that the next stage takes too.
    #[inline]
    fn take(&mut self, now: f64) -> bool {
        let taken = self.taken;
        let back = |edges: usize| self.ring[taken.wrapping_sub(edges) % RING];
        for (lag, edges) in self.lags.iter_mut().zip(THINNED) {
            if taken < edges {
                continue;
            }
            let difference = now - back(edges);
            lag.count += 1.0;
            lag.sum += difference;
            lag.squares += difference * difference;
            if taken >= 2 * edges {
                let second = difference - (back(edges) - back(2 * edges));
                lag.second_count += 1.0;
                lag.second_squares += second * second;
            }
        }
        self.ring[taken % RING] = now;
        self.taken += 1;
        taken > 0 && taken.is_multiple_of(4)
    }
}
