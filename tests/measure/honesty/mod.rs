//! The uncertainties are honest: over many draws of jig errors and noise, the true value lies within the expanded
//! uncertainty for 95 % in 93 to 97 % of the cases. Too wide is as wrong as too narrow.
//!
//! `RAILPROOF_DRAWS` says how many draws there are, 200 where it does not. Fewer than 10,000 widen the limits by what chance
//! makes of them. What was found is printed, a line for each measurand: what lay inside, the mean expanded uncertainty, the
//! mean of error over expanded uncertainty, and the worst of those with its draw.

mod catalogue;
mod closer;
mod controls;
mod crawl;
mod ends;
mod heat;
mod jitter;
mod levels;
mod light;
mod motion;
mod pack;
mod positioning;
mod step_clock;
mod timer;

pub use closer::sway;

use crate::synthetic::{Truth, World, values};
use railproof::capture::{Action, Destination, Side};
use railproof::measure::{CheckEvidence, find};
use railproof::stats::Estimate;

/// How many draws each test makes.
fn draws() -> u64 {
    let asked = std::env::var("RAILPROOF_DRAWS").ok();
    asked.map_or(200, |text| text.parse().expect("RAILPROOF_DRAWS is a whole number"))
}

/// From so many draws on the limits hold as they stand.
const ENOUGH: u32 = 10_000;

/// How often the truth lay within U(95 %), and the mean of |error| / U.
#[derive(Default)]
struct Coverage {
    name: String,
    inside: u32,
    total: u32,
    reach: f64,
    expanded: f64,
    worst: (f64, u64),
}

impl Coverage {
    fn of(name: &str) -> Self {
        Self { name: name.into(), ..Self::default() }
    }

    fn take(&mut self, check: &CheckEvidence, index: usize, truth: f64, seed: u64) {
        self.compare(&values(&self.name, check)[index], truth, seed);
    }

    fn compare(&mut self, estimate: &Estimate, truth: f64, seed: u64) {
        let expanded = estimate.expanded_uncertainty(0.95);
        let reach = (estimate.value - truth).abs() / expanded;
        self.inside += u32::from(reach <= 1.0);
        self.total += 1;
        self.reach += reach;
        self.expanded += expanded;
        if reach > self.worst.0 {
            self.worst = (reach, seed);
        }
    }

    /// Holds the coverage to 93 to 97 %.
    fn check(&self) {
        self.hold(0.93, 0.97);
    }

    /// Where whole units or a worst case leave no choice but to cover more, no more can be asked than that the bound holds, and
    /// that the mean expanded uncertainty is no wider than that takes, in SI.
    fn check_bound(&self, expanded_at_most: f64) {
        self.hold(0.95, 1.0);
        let expanded = self.expanded / f64::from(self.total);
        assert!(expanded <= expanded_at_most, "{}: U {expanded:e} on the average", self.name);
    }

    fn hold(&self, least: f64, most: f64) {
        let total = f64::from(self.total);
        let (part, reach) = (f64::from(self.inside) / total, self.reach / total);
        let chance = if self.total < ENOUGH { 3.3 * (0.05 * 0.95 / total).sqrt() } else { 0.0 };
        let unit = find(&self.name).expect("it is in the catalogue").dimension.usual_unit();
        let expanded = unit.of_differences().from_si(self.expanded / total);
        let shown = format!(
            "{:<30} {:6.2} % inside, U {:>10} {:<4} mean reach {reach:.3}, worst {:.2} of draw {}",
            self.name,
            100.0 * part,
            format!("{expanded:.3e}"),
            unit.symbol(),
            self.worst.0,
            self.worst.1
        );
        println!("{shown}");
        assert!(part >= least - chance && part <= most + chance, "{shown}");
    }
}

fn draw(seed: u64) -> World {
    let mut world = World::with(0.05, Truth::default(), seed);
    let mut truth = Truth { stamp: 0.1e-6, noise: (1.5e-3, 3e-3), ..Truth::default() };
    truth.clock = 10e-6 * world.normal();
    truth.encoder = 50e-6 * world.normal();
    truth.volt = (1e-3 * world.normal(), 2e-3 * world.normal());
    truth.ampere = (3e-3 * world.normal(), 1e-3 * world.normal());
    World::with(0.05, truth, seed + 1_000_000)
}

fn to(side: Side, speed: f64) -> Action {
    Action::Travel { to: Destination::End(side), speed, level: None }
}
