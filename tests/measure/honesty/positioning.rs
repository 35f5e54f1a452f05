//! Positioning by ISO 230-2.

use super::{Coverage, draw, draws};
use crate::synthetic::{Trapezoid, World, exact, uniform};
use railproof::capture::{Action, Destination};

/// Steps between two targets, and of the way past the outermost ones: 40 mm.
const APART: i64 = 3200;
const TARGETS: usize = 4;
const APPROACHES: usize = 5;

/// What is true of an axis: mean deviations towards the right and left of each target, and a scatter common to all.
struct Axis {
    means: [[f64; 2]; TARGETS],
    scatter: f64,
}

impl Axis {
    /// Names of the parameters, each with what it is.
    fn truths(&self) -> [(&'static str, f64); 12] {
        let range = |values: &mut dyn Iterator<Item = f64>| {
            let all: Vec<f64> = values.collect();
            all.iter().copied().fold(f64::MIN, f64::max) - all.iter().copied().fold(f64::MAX, f64::min)
        };
        let way = |way: usize| range(&mut self.means.iter().map(|means| means[way]));
        let both = range(&mut self.means.iter().flatten().copied());
        let reversals = || self.means.iter().map(|means| means[0] - means[1]);
        let reversal = reversals().map(f64::abs).fold(0.0, f64::max);
        let four = 4.0 * self.scatter;
        [
            ("positioning accuracy", both + four),
            ("positioning accuracy rightward", way(0) + four),
            ("positioning accuracy leftward", way(1) + four),
            ("positioning repeatability", four + reversal),
            ("positioning repeatability rightward", four),
            ("positioning repeatability leftward", four),
            ("systematic deviation", both),
            ("systematic deviation rightward", way(0)),
            ("systematic deviation leftward", way(1)),
            ("reversal value", reversal),
            ("mean reversal value", reversals().sum::<f64>() / TARGETS as f64),
            ("mean bidirectional deviation", range(&mut self.means.iter().map(|means| 0.5 * (means[0] + means[1])))),
        ]
    }

    /// Travels to a place, in steps from the first target, and comes to rest beside it.
    fn travel(&self, world: &mut World, to: i64, beside: f64) {
        let place = 0.1 + to as f64 / 80_000.0;
        let steps = (0.1 * 80_000.0) as i64 + to - world.motor;
        let profile = Trapezoid { distance: steps.unsigned_abs() as f64 / 80_000.0, speed: 0.09, acceleration: 1.6 };
        let action = Action::Travel { to: Destination::Position(place), speed: 0.09, level: None };
        world.phase(action, |world| {
            world.jump(beside - world.offset);
            world.trapezoid(steps > 0, profile, exact);
        });
    }

    /// The whole test: to each target from the left and past the last, then to each from the right and past the first.
    fn approach(&self, world: &mut World) {
        world.begin();
        for _ in 0..APPROACHES {
            for target in 0..TARGETS {
                let beside = self.means[target][0] + self.scatter * world.normal();
                self.travel(world, target as i64 * APART, beside);
            }
            self.travel(world, TARGETS as i64 * APART, 0.0);
            for target in (0..TARGETS).rev() {
                let beside = self.means[target][1] + self.scatter * world.normal();
                self.travel(world, target as i64 * APART, beside);
            }
            self.travel(world, -APART, 0.0);
        }
    }
}

/// Covers of all parameters where scatter and means are drawn anew each time.
fn coverages(axis: impl Fn(&mut World) -> Axis) -> Vec<Coverage> {
    let mut coverages: Vec<Coverage> = Vec::new();
    // Each draw has twelve parameters, and each of these is propagated by draws of its own: a quarter as many will do.
    for seed in 0..draws() / 4 {
        let mut world = draw(seed);
        let axis = axis(&mut world);
        axis.approach(&mut world);
        let check = world.end();
        for (index, (name, truth)) in axis.truths().into_iter().enumerate() {
            if coverages.len() == index {
                coverages.push(Coverage::of(name));
            }
            coverages[index].take(&check, 0, truth, seed);
        }
    }
    coverages
}

/// Targets that deviate by far more than the approaches scatter, which they do by a cell of the encoder and more.
#[test]
fn targets_that_differ() {
    let axis = |world: &mut World| Axis {
        means: [(); TARGETS].map(|()| {
            let middle = uniform(&mut world.rng, -150e-6, 150e-6);
            let reversal = uniform(&mut world.rng, 100e-6, 300e-6);
            [middle + 0.5 * reversal, middle - 0.5 * reversal]
        }),
        scatter: uniform(&mut world.rng, 15e-6, 50e-6),
    };
    coverages(axis).iter().for_each(Coverage::check);
}

/// Targets that are alike in both ways: whichever comes out largest is so by chance.
#[test]
fn targets_alike() {
    let axis = |world: &mut World| {
        let (middle, reversal) = (uniform(&mut world.rng, -20e-6, 20e-6), uniform(&mut world.rng, 100e-6, 300e-6));
        let means = [[middle + 0.5 * reversal, middle - 0.5 * reversal]; TARGETS];
        Axis { means, scatter: uniform(&mut world.rng, 15e-6, 50e-6) }
    };
    coverages(axis).iter().for_each(Coverage::check);
}

/// Approaches that scatter by much less than a cell of the encoder: most end in one cell, which hides their scatter. That it
/// stays within the cells' bound is all that can be asked.
#[test]
fn a_scatter_that_cells_hide() {
    let axis = |world: &mut World| Axis {
        means: [(); TARGETS].map(|()| {
            let middle = uniform(&mut world.rng, -150e-6, 150e-6);
            [middle + 60e-6, middle - 60e-6]
        }),
        scatter: uniform(&mut world.rng, 0.5e-6, 6e-6),
    };
    coverages(axis).iter().for_each(|coverage| coverage.check_bound(100e-6));
}
