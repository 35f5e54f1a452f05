//! Runs a plan on both firmwares on a bench of simulated units, so that there is something to compare.

use super::{Exit, Failure, say};
use crate::cli::bench::Choice;
use crate::cli::key::KeyChoice;
use crate::cli::run::{self, RunArgs};
use crate::cli::world::{WorldArgs, firmware};
use crate::cli::{Format, prepared::Prepared};
use crate::jig::JigKind;
use crate::sim::MAKE_BITS;
use anyhow::anyhow;
use clap::Args;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// What is carried out before it is compared.
#[derive(Debug, Args)]
#[command(next_help_heading = "Carried out first, on simulated units")]
pub struct CarryOut {
    /// Run this plan on simulated units with both firmwares, and compare these runs
    #[arg(id = "plan", long = "carry-out", value_name = "PLAN", requires_all = ["firmware", "unit", "jig"])]
    pub plan: Option<PathBuf>,
    /// The unit file of the model
    #[arg(long, value_name = "FILE", requires = "plan")]
    unit: Option<PathBuf>,
    /// The jig file of a simulated bench
    #[arg(long, value_name = "FILE", requires = "plan")]
    jig: Option<PathBuf>,
    /// How many units
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=1000))]
    units: u32,
    /// How often each unit runs the plan with each firmware
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    repeats: u32,
    /// What the first unit is like; each further one has the next number
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u32,
}

/// Carries out the plan; the ids of the runs. Each run has noise of its own; unit and jig are the same on both firmwares.
pub fn carry_out(
    plan: &Path,
    wanted: &CarryOut,
    firmwares: [&String; 2],
    results: &Path,
) -> Result<BTreeSet<String>, Failure> {
    let (unit, jig) = (wanted.unit.clone().unwrap_or_default(), wanted.jig.clone().unwrap_or_default());
    let prepared = Prepared::read(plan, &unit, &jig)?;
    if prepared.jig.kind != JigKind::Simulated {
        let why =
            format!("{}: --carry-out runs simulated units alone; run real ones with `railproof run`", jig.display());
        return Err(Failure::new(Exit::Usage, anyhow!(why)));
    }
    let usage = |why: String| Failure::new(Exit::Usage, anyhow!(why));
    let versions = [firmware(firmwares[0]).map_err(usage)?, firmware(firmwares[1]).map_err(usage)?];
    let mut ids = BTreeSet::new();
    for number in 0..wanted.units {
        for repeat in 0..wanted.repeats {
            for (side, version) in versions.into_iter().enumerate() {
                let make = u64::from(wanted.seed.wrapping_add(number));
                let noise = 1 + 2 * u64::from(repeat) + side as u64;
                let world = WorldArgs { seed: noise << MAKE_BITS | make, faults: Vec::new(), firmware: version };
                let serial = format!("SM-{:04}", number + 1);
                say(&format!("{serial} with firmware {}, run {} of {}", version.text(), repeat + 1, wanted.repeats));
                let args = RunArgs {
                    plan: plan.to_owned(),
                    unit: unit.clone(),
                    jig: jig.clone(),
                    serial,
                    results: results.to_owned(),
                    operator: None,
                    parts: Vec::new(),
                    parts_file: None,
                    answers: Vec::new(),
                    confirmed: true,
                    overdue_because: None,
                    budget: false,
                    format: Format::Text,
                    key: KeyChoice::default(),
                    bench: Choice::simulated(world),
                };
                let done = run::carry_out(&args)?;
                if done.outcome.interrupted {
                    return Err(Failure::new(Exit::Interrupted, anyhow!("interrupted; nothing is compared")));
                }
                ids.insert(done.record.run.id);
            }
        }
    }
    Ok(ids)
}
