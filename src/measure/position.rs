//! Where the carriage is, and how well that is known: far better than a cell of the encoder while it runs, and no better
//! than a cell where it rests.
//!
//! The moment at which an edge comes tells that the carriage stands on a border. Between the borders of a cell that it runs
//! through it is found in proportion to time; what is left in doubt is the stamps, times the speed, and what the speed may
//! have changed inside the cell, of which the neighbouring cells tell. A carriage at rest stands anywhere in its cell.

use super::Setup;
use super::track::Path;
use super::values::{RECTANGULAR, encoder_scale};
use crate::capture::Tick;
use crate::stats::{Component, Estimate};

/// From cell to cell the speed of a carriage that runs changes by less than this part; else nobody knows where inside the
/// cell it lingered.
const RUNS_EVENLY: f64 = 0.5;

/// A position, in encoder edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Position {
    /// The best estimate.
    pub at: f64,
    /// Its standard uncertainty where the carriage runs; `None` where it may stand anywhere in the cell about `at`.
    pub running: Option<f64>,
}

impl Position {
    /// At rest in a cell.
    pub fn resting(cell: i32) -> Self {
        Self { at: f64::from(cell) + 0.5, running: None }
    }

    /// Its line in the budget of a length; `edge` is the length of an edge.
    fn line(&self, edge: f64) -> Component {
        self.running.map_or_else(
            || Component::rectangular("cell of the encoder", 0.5 * edge),
            |doubt| Component::normal("moment in a cell", doubt * edge),
        )
    }

    /// Its standard uncertainty, edges.
    pub fn standard_uncertainty(&self) -> f64 {
        self.running.unwrap_or(RECTANGULAR)
    }
}

/// The way from one position to another, m; positive towards the right.
pub(super) fn way(from: &Position, to: &Position, setup: &Setup) -> Estimate {
    let per_metre = setup.jig.encoder_edges_per_metre;
    let length = (to.at - from.at) / per_metre;
    let estimate = Estimate::of(length).and(encoder_scale(length, setup));
    match (from.running, to.running) {
        (None, None) => estimate.and(Component::triangular("cells of the encoder", 1.0 / per_metre)),
        _ => estimate.and(from.line(1.0 / per_metre)).and(to.line(1.0 / per_metre)),
    }
}

/// The same without its sign.
pub(super) fn distance(from: &Position, to: &Position, setup: &Setup) -> Estimate {
    if to.at < from.at { way(to, from, setup) } else { way(from, to, setup) }
}

impl Path<'_> {
    /// Where the carriage was at a stamped moment. `stamp` is the standard uncertainty of one stamp, ticks.
    pub fn at(&self, moment: Tick, stamp: f64) -> Position {
        let next = self.ticks.partition_point(|at| *at <= moment);
        let resting = Position::resting(self.cell_at(moment));
        let Some(length) = self.run_through(next) else {
            return resting;
        };
        let neighbours = [next.checked_sub(1), next.checked_add(1)].into_iter().flatten();
        let change = neighbours
            .filter_map(|edge| self.run_through(edge))
            .map(|other| (other / length - 1.0).abs())
            .reduce(f64::max);
        let Some(change) = change.filter(|change| *change < RUNS_EVENLY) else {
            return resting;
        };
        let passed = (moment - self.ticks[next - 1]) as f64 / length;
        // Stamps of the moment and of both borders; and a half of the change of speed times t (T − t).
        let stamps = stamp / length * (1.0 + passed.powi(2) + (1.0 - passed).powi(2)).sqrt();
        let bend = 0.5 * change * passed * (1.0 - passed) * 2.0 * RECTANGULAR;
        let doubt = stamps.hypot(bend);
        if doubt >= RECTANGULAR {
            return resting;
        }
        Position { at: self.position_at(moment), running: Some(doubt) }
    }

    /// Ticks that the carriage took from border to border, with edge number `next` the later one; `None` where it turned.
    fn run_through(&self, next: usize) -> Option<f64> {
        let before = next.checked_sub(1)?;
        let length = (*self.ticks.get(next)? - self.ticks[before]) as f64;
        (self.border(before) != self.border(next) && length > 0.0).then_some(length)
    }
}
