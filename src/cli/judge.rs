//! `railproof judge`: measures and decides a plan again from evidence that was kept, without a bench.
//!
//! A stored run says of itself what its capture cannot: when it was, on which bench, and why it was broken off or proves
//! nothing. That stays as it was; every value and decision is found anew.

use super::captures::{OpenCapture, WireArgs};
use super::evidence::FolderEvidence;
use super::prepared::Prepared;
use super::{Exit, Failure, Format, show};
use crate::capture::{Bounded, CaptureSink, Mark, MarkKind, Part, PhaseFinder, Tick};
use crate::clock::{Clock, ComputerClock, WallTime};
use crate::event::RunOutcome;
use crate::jig::JigKind;
use crate::plan::Plan;
use crate::record::{self, Header, Record, stored};
use crate::run::{self, Assessor, Ending, Script};
use anyhow::anyhow;
use clap::Args;
use std::path::{Path, PathBuf};
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// What to judge, and by what.
#[derive(Debug, Args)]
pub struct JudgeArgs {
    /// The test plan
    plan: PathBuf,
    /// The unit file of the model
    #[arg(long, value_name = "FILE")]
    unit: PathBuf,
    /// The jig file of the bench that made the capture
    #[arg(long, value_name = "FILE")]
    jig: PathBuf,
    /// Folder of a stored run, or a capture
    #[arg(long, value_name = "PATH")]
    captures: PathBuf,
    #[command(flatten)]
    wires: WireArgs,
    /// Serial number of the unit, where no record says it
    #[arg(long, value_name = "SN")]
    serial: Option<String>,
    /// Print the uncertainty budget of each value
    #[arg(long)]
    budget: bool,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Measures and decides again.
pub fn judge(args: &JudgeArgs) -> Result<Exit, Failure> {
    let prepared = Prepared::read(&args.plan, &args.unit, &args.jig)?;
    let stored = Stored::find(&args.captures)?;
    let serial = serial(args, &prepared, stored.record.as_ref())?;
    let capture = OpenCapture::open(&stored.capture, &args.wires.channels)?;
    let mut notes = Vec::new();
    let judging = judged(args, &prepared, capture, &mut notes)?;
    let now = ComputerClock::new().wall();
    let took_s = judging.took_s();
    let outcome = judging.outcome(ending(stored.record.as_ref(), &prepared, took_s));
    let excused = stored.record.as_ref().map(excused).unwrap_or_default();
    let outcome = prepared.within_calibration(outcome, stored.started().unwrap_or(now).date(), &excused);
    let mut header = header(&prepared, stored.record.as_ref(), &serial, now, &outcome);
    header.warnings.extend(notes);
    let record = record::record(&prepared.plan, &outcome, header);
    show::record(args.format, &record, &format!("judged from {}", stored.capture.display()), args.budget)?;
    Ok(show::exit(&outcome))
}

/// Replays a capture through the assessment of the plan.
fn judged<'p>(
    args: &JudgeArgs,
    prepared: &'p Prepared,
    capture: OpenCapture,
    notes: &mut Vec<String>,
) -> Result<Judging<'p>, Failure> {
    let plan = &prepared.plan;
    let mut setup = run::setup(&prepared.unit, &prepared.jig);
    let own = capture.ticks_per_second();
    if !capture.is_foreign() {
        return replayed(prepared, capture);
    }
    args.wires.narrow(&mut setup, own, notes)?;
    let calibrations = setup.jig.calibrations;
    notes.push("another instrument made the capture, and the plan's moves were found in its edges".into());
    let mut judging = Judging::new(plan, Assessor::new(plan, setup).without_transcript(), own);
    let facts = &prepared.unit.facts;
    let mut script = Script::new(plan, facts.travel * facts.steps_per_metre);
    let mut finder = PhaseFinder::new(args.wires.rules(&prepared.unit, own as f64), &mut script, &mut judging);
    let ended = capture.replay(&calibrations, &mut finder)?;
    finder.finish(ended);
    script.objections().into_iter().for_each(|why| judging.object(why));
    Ok(judging)
}

/// Replays a capture of railproof's own.
pub fn replayed(prepared: &Prepared, capture: OpenCapture) -> Result<Judging<'_>, Failure> {
    let (plan, setup) = (&prepared.plan, run::setup(&prepared.unit, &prepared.jig));
    let (own, ticks) = (capture.ticks_per_second(), setup.jig.ticks_per_second);
    if own != ticks {
        let why = format!("the capture's clock has {own} ticks a second and that of the jig file {ticks}");
        let why = anyhow!("{why}; name the jig file of the bench that made it");
        return Err(Failure::new(Exit::BadInput, why));
    }
    let mut judging = Judging::new(plan, Assessor::new(plan, setup), own);
    capture.replay(&prepared.jig.calibrations(), &mut Bounded::whole(&mut judging))?;
    Ok(judging)
}

/// A capture on disk, with the record of the run that it belongs to.
struct Stored {
    capture: PathBuf,
    record: Option<Record>,
}

impl Stored {
    /// A run's folder, its folder of captures, or a file.
    fn find(path: &Path) -> Result<Self, Failure> {
        let bad = |why: String| Failure::new(Exit::BadInput, anyhow!(why));
        if !path.is_dir() {
            let record = path.parent().and_then(Path::parent).map(|run| run.join("record.json"));
            // A capture that lies in a run's folder is that run's.
            let of_a_run = path.ends_with(FolderEvidence::FILE);
            let record = record.filter(|record| of_a_run && record.is_file()).map(|record| read_record(&record));
            return Ok(Self { capture: path.to_owned(), record: record.transpose()? });
        }
        let places = [path.join(FolderEvidence::FILE), path.join("run.capture")];
        let Some(capture) = places.iter().find(|place| place.is_file()) else {
            let why = format!(
                "{}: there is no capture; name a run's folder, such as results/SM-0001/ID, or a capture",
                path.display()
            );
            return Err(bad(why));
        };
        let run = if *capture == places[0] { Some(path) } else { path.parent() };
        let record = run.map(|run| run.join("record.json")).filter(|record| record.is_file());
        Ok(Self { capture: capture.clone(), record: record.map(|record| read_record(&record)).transpose()? })
    }

    /// When the run began.
    fn started(&self) -> Option<WallTime> {
        OffsetDateTime::parse(&self.record.as_ref()?.run.started, &Rfc3339).ok()
    }
}

/// The record in a file.
pub fn read_record(path: &Path) -> Result<Record, Failure> {
    let read = || {
        let bytes = std::fs::read(path)?;
        serde_json::from_slice(&bytes).map_err(anyhow::Error::from)
    };
    read().map_err(|error| {
        let why = error.context(format!("{}: this record cannot be read; name the capture alone", path.display()));
        Failure::new(Exit::BadInput, why)
    })
}

/// The channels that were past their calibration when the run was carried out all the same, for the reason on record.
fn excused(record: &Record) -> Vec<&str> {
    let is_excused = record.bench.overdue_because.is_some();
    record.overdue().filter(|_| is_excused).map(|calibration| calibration.channel.as_str()).collect()
}

fn serial(args: &JudgeArgs, prepared: &Prepared, stored: Option<&Record>) -> Result<String, Failure> {
    match (&args.serial, stored) {
        (Some(given), Some(stored)) if *given != stored.unit.serial => {
            let why = format!("this is a run of {}, not of {given}; leave out --serial", stored.unit.serial);
            Err(Failure::new(Exit::Usage, anyhow!(why)))
        }
        (Some(given), _) => prepared.check_serial(given).map(|()| given.clone()),
        (None, Some(stored)) => Ok(stored.unit.serial.clone()),
        (None, None) => Ok("unknown".into()),
    }
}

/// How the run ended, as its record says.
fn ending(stored: Option<&Record>, prepared: &Prepared, took_s: f64) -> Ending {
    let Some(stored) = stored else {
        return Ending { why_not: "the capture does not hold it".into(), took_s, ..Ending::default() };
    };
    let mut invalid_because = stored.invalid_because.clone();
    if stored.unit.model != prepared.unit.model {
        let (own, given) = (&stored.unit.model, &prepared.unit.model);
        invalid_because.push(format!("the run is one of a {own}, and the unit file describes a {given}"));
    }
    let why_not = stored.checks.iter().find_map(|check| check.not_carried_out.as_deref());
    let why_not = why_not.map(|why| why.strip_prefix(run::BROKEN_OFF).unwrap_or(why).to_owned());
    Ending {
        why_not: why_not.unwrap_or_else(|| "the capture does not hold it".into()),
        invalid_because,
        interrupted: stored.interrupted,
        took_s: stored.run.took_s,
    }
}

/// What the record says beside the outcome: of a stored run as it was, but for the origin and the files given now.
fn header(prepared: &Prepared, stored: Option<&Record>, serial: &str, now: WallTime, outcome: &RunOutcome) -> Header {
    let railproof = env!("CARGO_PKG_VERSION").to_owned();
    let inputs = prepared.input_facts();
    let Some(stored) = stored else {
        let simulated = prepared.jig.kind == JigKind::Simulated;
        let warning = "the jig is a simulated one: no unit was tested, and this certifies nothing".to_owned();
        return Header {
            run: stored::RunFacts {
                id: uuid::Uuid::now_v7().to_string(),
                started: show::rfc3339(now),
                ended: show::rfc3339(now),
                took_s: outcome.took_s,
                origin: stored::Origin::Replayed,
                seed: None,
                faults: Vec::new(),
                railproof,
                predecessors: Vec::new(),
            },
            unit: prepared.unit_facts(serial, Vec::new()),
            bench: prepared.bench_facts("a capture without a record".into(), None),
            inputs,
            warnings: simulated.then_some(warning).into_iter().collect(),
        };
    };
    let mut warnings = stored.warnings.clone();
    for (then, input) in stored.plan.inputs.iter().zip(&inputs) {
        if then.sha256 != input.sha256 {
            warnings.push(format!("the {} differs from the one that was frozen with the run", words(&input.role)));
        }
    }
    Header {
        run: stored::RunFacts { origin: stored::Origin::Replayed, railproof, ..stored.run.clone() },
        unit: stored::UnitFacts { reports: Default::default(), ..stored.unit.clone() },
        bench: stored::BenchFacts {
            calibrations: prepared.bench_facts(String::new(), None).calibrations,
            ..stored.bench.clone()
        },
        inputs,
        warnings,
    }
}

fn words(role: &str) -> &'static str {
    match role {
        "plan" => "plan",
        "unit" => "unit file",
        _ => "jig file",
    }
}

/// Assesses a capture and sees to it that it is one of the plan.
pub struct Judging<'a> {
    plan: &'a Plan,
    assessor: Assessor<'a>,
    invalid_because: Vec<String>,
    last: Tick,
    ticks_per_second: u64,
    /// Rounds of the current check that are over.
    rounds: u32,
}

impl<'a> Judging<'a> {
    fn new(plan: &'a Plan, assessor: Assessor<'a>, ticks_per_second: u64) -> Self {
        Self { plan, assessor, invalid_because: Vec::new(), last: 0, ticks_per_second, rounds: 0 }
    }

    /// Bench time of the last mark, s.
    pub fn took_s(&self) -> f64 {
        self.last as f64 / self.ticks_per_second as f64
    }

    /// What the plan makes of it.
    pub fn outcome(self, mut ending: Ending) -> RunOutcome {
        for why in self.invalid_because {
            if !ending.invalid_because.contains(&why) {
                ending.invalid_because.push(why);
            }
        }
        self.assessor.outcome(ending)
    }

    fn object(&mut self, why: String) {
        // One stranger among the moves is enough to tell another plan.
        if !self.invalid_because.contains(&why) && self.invalid_because.len() < 10 {
            self.invalid_because.push(why);
        }
    }
}

impl CaptureSink for Judging<'_> {
    fn part(&mut self, part: &Part) {
        if let Some(why) = run::interlock(part) {
            self.object(why);
        }
        self.assessor.part(part);
    }

    fn mark(&mut self, mark: &Mark) {
        self.last = mark.at;
        match &mark.kind {
            MarkKind::CheckBegins { check } if *check >= self.plan.checks.len() => {
                self.object(format!("the capture has a check {} that the plan does not have", check + 1));
            }
            MarkKind::CheckBegins { .. } => self.rounds = 0,
            MarkKind::RoundEnds { .. } => self.rounds += 1,
            MarkKind::PhaseBegins(phase) => {
                let check = self.plan.checks.get(phase.check);
                if check.is_some_and(|check| self.rounds >= check.rounds_max) {
                    let number = phase.check + 1;
                    self.object(format!(
                        "the capture was made by another plan: it has more rounds of check {number} than the plan allows"
                    ));
                }
                let planned = check.and_then(|check| check.moves.get(phase.ordinal));
                if planned.is_none_or(|planned| planned.action != phase.action) {
                    let place = format!("check {}, move {}", phase.check + 1, phase.ordinal + 1);
                    self.object(format!("the capture was made by another plan: {place} of it is `{}`", phase.label));
                }
            }
            _ => {}
        }
        self.assessor.mark(mark);
    }
}
