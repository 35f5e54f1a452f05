//! `railproof rehearse`: what a plan would let through, told by carrying it out on simulated units whose truth is known.

mod carried;
mod shown;

use super::inputs::{InputFile, refuse};
use super::prepared::Prepared;
use super::world::{is_made_of, wiring};
use super::{Exit, Failure, Format, print, say, write_beside};
use crate::clock::{Clock, ComputerClock};
use crate::record;
use crate::rehearsal::{Lot, Occurrence, Population, Rehearser, planned_checks};
use crate::report;
use crate::run::{protection, setup};
use crate::study::rehearse::{FORMAT, Findings, MergeProblem, Rehearsal, Setting, Shard, merged};
use anyhow::anyhow;
use clap::Args;
use std::io::BufReader;
use std::path::PathBuf;

/// Most units of a rehearsal.
const UNITS_MAX: u64 = 10_000_000;

const EXAMPLES: &str = "\
Examples:
  railproof rehearse test-plans/outgoing.yaml --unit fixtures/units/dunlin-600.yaml \\
    --jig fixtures/jigs/simulated.yaml --population fixtures/populations/dunlin-600.yaml
  railproof rehearse PLAN --unit U --jig J --population P --shard 3/16 --store shard-3.json
  railproof rehearse --merge shard-*.json --html rehearsal.html

Ends with 1 where a unit whose fault breaks a promise would be shipped.";

/// What to rehearse, and how much of it.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct RehearseArgs {
    /// The test plan
    #[arg(required_unless_present = "merge")]
    plan: Option<PathBuf>,
    /// The unit file of the model
    #[arg(long, value_name = "FILE", required_unless_present = "merge")]
    unit: Option<PathBuf>,
    /// The jig file of a simulated bench
    #[arg(long, value_name = "FILE", required_unless_present = "merge")]
    jig: Option<PathBuf>,
    /// How units differ, and what can be wrong with them
    #[arg(long, value_name = "FILE", required_unless_present = "merge")]
    population: Option<PathBuf>,
    /// Units: 3 of 10 as built; of the others 4 of 5 with one fault at its worst, the fifth with one of any severity
    #[arg(long, value_name = "N", default_value_t = 10_000, value_parser = clap::value_parser!(u64).range(1..=UNITS_MAX))]
    units: u64,
    /// Decides everything that is left to chance
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Carry out one part of the units alone, for example 3/16; needs --store
    #[arg(long, value_name = "PART/PARTS", value_parser = shard, requires = "store")]
    shard: Option<Shard>,
    /// Store the outcome of each unit, for --merge
    #[arg(long, value_name = "FILE")]
    store: Option<PathBuf>,
    /// Put together what all shards of a rehearsal stored, instead of carrying one out
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with_all = ["plan", "unit", "jig", "population", "shard", "look"])]
    merge: Vec<PathBuf>,
    /// Carry out the unit of this number alone and show what was measured on it
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["shard", "store", "html"])]
    look: Option<u64>,
    /// Threads [default: one for each core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// Draw the result on a page
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// `3/16`.
fn shard(text: &str) -> Result<Shard, String> {
    let both = text.split_once('/').and_then(|(part, of)| Some((part.parse().ok()?, of.parse().ok()?)));
    match both {
        Some((part, of)) if (1..=of).contains(&part) => Ok(Shard { part, of }),
        _ => Err("write which part of how many, for example 3/16".into()),
    }
}

/// Rehearses a plan, or puts shards of a rehearsal together.
pub fn rehearse(args: &RehearseArgs) -> Result<Exit, Failure> {
    let rehearsal = if args.merge.is_empty() {
        match carry_out(args)? {
            Some(rehearsal) => rehearsal,
            None => return Ok(Exit::Done),
        }
    } else {
        merge(&args.merge)?
    };
    if let Some(path) = &args.store {
        let text = serde_json::to_string(&rehearsal).map_err(|error| Failure::new(Exit::Invalid, error))?;
        write_beside(path, &(text + "\n"))?;
    }
    if let Some(Shard { part, of }) = rehearsal.shard {
        say(&format!("shard {part}/{of} is done: {} units", rehearsal.units.len()));
        return Ok(Exit::Done);
    }
    let findings = Findings::of(&rehearsal);
    if let Some(path) = &args.html {
        let title = format!("Rehearsal of {} revision {}", rehearsal.rehearsal.plan, rehearsal.rehearsal.revision);
        let mut sections = shown::sections(&rehearsal, &findings);
        sections.push(shown::requirements(&findings));
        write_beside(path, &report::sections_html(&title, &sections))?;
    }
    print(&match args.format {
        Format::Text => shown::text(&rehearsal, &findings),
        Format::Json => format!("{:#}\n", shown::json(&rehearsal, &findings)),
    })?;
    let escaped = Findings::escapes(&rehearsal).next().is_some();
    Ok(if escaped { Exit::DoesNotConform } else { Exit::Done })
}

/// Carries out the units, or shows the one that was asked for.
fn carry_out(args: &RehearseArgs) -> Result<Option<Rehearsal>, Failure> {
    let (Some(plan), Some(unit), Some(jig), Some(population)) = (&args.plan, &args.unit, &args.jig, &args.population)
    else {
        return Err(Failure::new(Exit::Usage, anyhow!("give a plan with --unit, --jig and --population, or --merge")));
    };
    let prepared = Prepared::read(plan, unit, jig)?;
    let population_file = InputFile::read(population)?;
    let population = Population::read(&population_file.source).map_err(|problems| refuse(&problems))?;
    is_made_of(&prepared.unit)?;
    fits(&population, &prepared)?;
    let digest = |file: &InputFile| record::digest(&file.bytes);
    let [plan, unit, jig] = &prepared.inputs;
    let rehearsal = Setting {
        format: FORMAT,
        railproof: env!("CARGO_PKG_VERSION").to_owned(),
        plan: prepared.plan.name.clone(),
        revision: prepared.plan.revision,
        model: prepared.plan.model.clone(),
        population: population.name.clone(),
        sha256: [digest(&plan.1), digest(&unit.1), digest(&jig.1), digest(&population_file)],
        seed: args.seed,
        units: args.units,
        checks: planned_checks(&prepared.plan),
        faults: population.faults.iter().map(Occurrence::facts).collect(),
    };
    let lot = Lot::new(&population, args.seed, args.units);
    let rehearser = Rehearser {
        plan: &prepared.plan,
        unit: &prepared.unit,
        setup: setup(&prepared.unit, &prepared.jig),
        protection: protection(&prepared.unit, &prepared.jig),
        wiring: wiring(&prepared.jig.references),
    };
    if let Some(number) = args.look {
        carried::look(&rehearser, &lot.unit(number), args.format)?;
        return Ok(None);
    }
    let numbers: Vec<u64> =
        (0..args.units).filter(|number| args.shard.is_none_or(|shard| shard.has(*number))).collect();
    let clock = ComputerClock::new();
    let began = clock.now();
    let threads = args.threads.map_or_else(|| std::thread::available_parallelism().map_or(1, usize::from), usize::from);
    let units = carried::all(&rehearser, &lot, &numbers, threads)?;
    let took = clock.now().since(began).as_secs_f64();
    say(&format!("{} units in {took:.1} s on {threads} threads", units.len()));
    Ok(Some(Rehearsal { rehearsal, shard: args.shard, units }))
}

/// Whether population and plan are of one model, and the jig's world is simulated.
fn fits(population: &Population, prepared: &Prepared) -> Result<(), Failure> {
    let wrong = |why: String| Err(Failure::new(Exit::Usage, anyhow!(why)));
    if population.model != prepared.unit.model {
        return wrong(format!(
            "the population `{}` is of the model {}, and the unit file describes a {}; give the population of that model",
            population.name, population.model, prepared.unit.model
        ));
    }
    if prepared.jig.kind != crate::jig::JigKind::Simulated {
        return wrong(format!(
            "the jig `{}` is no simulated one; give a jig file of the kind `simulated`, nothing real is moved",
            prepared.jig.name
        ));
    }
    Ok(())
}

fn merge(files: &[PathBuf]) -> Result<Rehearsal, Failure> {
    let read = |path: &PathBuf| {
        let name = path.display().to_string();
        let file = std::fs::File::open(path).map_err(|error| {
            Failure::new(Exit::BadInput, anyhow!("{name}: cannot be read: {error}; check the path and the rights"))
        })?;
        let shard: Rehearsal = serde_json::from_reader(BufReader::new(file)).map_err(|error| {
            Failure::new(Exit::BadInput, anyhow!("{name}: is no stored rehearsal: {error}; give what --store wrote"))
        })?;
        Ok((name, shard))
    };
    let shards = files.iter().map(read).collect::<Result<Vec<_>, Failure>>()?;
    merged(shards).map_err(|problem: MergeProblem| Failure::new(Exit::BadInput, problem))
}
