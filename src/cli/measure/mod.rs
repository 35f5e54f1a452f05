//! `railproof measure`: every measurand that a capture supports, whoever made it.
//!
//! Our own captures have marks and are measured check by check. In a foreign one the motions are found from the edges;
//! what the bench said to the unit is not known, so whatever rests on that is withheld.

mod clock;
mod closer;
mod shown;
mod timer;

use super::captures::{OpenCapture, WireArgs};
use super::inputs::{InputFile, gather, refuse};
use super::{Exit, Failure, Format, print};
use crate::capture::{AsFound, Bounded, CaptureSink, EdgeChannel, Found, Loss, Mark, Part, PhaseFinder};
use crate::jig::JigFile;
use crate::measure::{
    CATALOGUE, CheckEvidence, JigFacts, LookCloser, Measurand, MoveClock, Reading, Session, Setup, TimerFit,
};
use crate::quantity::{Dimension, Quantity};
use crate::run;
use crate::unit::Unit;
use anyhow::anyhow;
use clap::Args;
use std::path::{Path, PathBuf};

/// A rectangular distribution of full width 1 has this standard deviation (JCGM 100:2008, 4.3.7).
const RECTANGULAR: f64 = 0.288_675_134_594_812_9;

/// What to measure.
#[derive(Debug, Args)]
pub struct MeasureArgs {
    /// Captures: of railproof, value change dumps (VCD) or tables (CSV), told apart by their content
    #[arg(required = true, value_name = "CAPTURE")]
    captures: Vec<PathBuf>,
    /// The unit file of the model
    #[arg(long, value_name = "FILE")]
    unit: PathBuf,
    /// The jig file, for calibrations and their uncertainties; without it a perfect jig is assumed
    #[arg(long, value_name = "FILE")]
    jig: Option<PathBuf>,
    /// Scale of the encoder where there is no jig file, edges of both tracks together
    #[arg(long, value_name = "SCALE", value_parser = scale)]
    encoder: Option<f64>,
    #[command(flatten)]
    wires: WireArgs,
    /// Print the uncertainty budget of each value; JSON always has it
    #[arg(long)]
    budget: bool,
    /// Leave out what takes a closer look: spectra and their tones, late and doubled steps, where the way was lost
    #[arg(long)]
    no_closer_look: bool,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

fn scale(text: &str) -> Result<f64, String> {
    let scale = Quantity::parse(text, Dimension::PerLength).map_err(|misread| misread.to_string())?.si();
    if scale > 0.0 { Ok(scale) } else { Err("write for example 40 edges/mm".into()) }
}

/// Measures the captures and prints what was found.
pub fn measure(args: &MeasureArgs) -> Result<Exit, Failure> {
    let unit_file = InputFile::read(&args.unit)?;
    let jig_file = args.jig.as_deref().map(InputFile::read).transpose()?;
    let mut problems = Vec::new();
    let unit = gather(Unit::read(&unit_file.source), &mut problems);
    let jig = jig_file.and_then(|file| gather(JigFile::read(&file.source), &mut problems));
    let Some(unit) = unit.filter(|_| problems.is_empty()) else { return Err(refuse(&problems)) };
    let measured =
        args.captures.iter().map(|path| one(args, path, &unit, jig.as_ref())).collect::<Result<Vec<_>, _>>()?;
    let whole = measured.iter().all(|measured| measured.losses.is_empty());
    print(&match args.format {
        Format::Text => measured.iter().map(shown::text).collect(),
        Format::Json => shown::json(measured.into_iter().map(shown::capture).collect()),
    })?;
    Ok(if whole { Exit::Done } else { Exit::Invalid })
}

/// A capture as it was measured.
struct Measured {
    capture: String,
    unit: String,
    /// What was taken for granted.
    assumed: Vec<String>,
    losses: Vec<Loss>,
    checks: Vec<Told>,
    ticks_per_second: f64,
}

/// One check of a capture, or one part of a foreign one.
struct MeasuredCheck {
    began_s: f64,
    ended_s: f64,
    values: Vec<(&'static Measurand, Vec<Reading>)>,
    closer: Vec<closer::Looked>,
    timer: Option<TimerFit>,
    step_clock: Vec<MoveClock>,
}

/// What is printed of a check. Of a long capture there are thousands of pieces; what they were printed from, histograms of
/// their step clocks above all, would be many times as much.
enum Told {
    Text { began_s: f64, ended_s: f64, text: String },
    Json(serde_json::Value),
}

fn one(args: &MeasureArgs, path: &Path, unit: &Unit, jig: Option<&JigFile>) -> Result<Measured, Failure> {
    let capture = OpenCapture::open(path, &args.wires.channels)?;
    let mut assumed = Vec::new();
    let setup = setup(args, &capture, unit, jig, &mut assumed)?;
    let calibrations = setup.jig.calibrations;
    let closer = if args.no_closer_look { LookCloser::Nowhere } else { LookCloser::Everywhere };
    let session = Session::new(setup.clone()).untraced().looking_closer(closer);
    let ticks_per_second = setup.jig.ticks_per_second as f64;
    if !capture.is_foreign() {
        let mut measuring = Measuring { args, session, setup, checks: Vec::new() };
        let mut bounded = Bounded::in_pieces(&mut measuring);
        capture.replay(&calibrations, &mut bounded)?;
        assumed.extend(cut("check", bounded.cut_checks(), Bounded::HELD_MAX));
        return Ok(measuring.done(path, unit, assumed, ticks_per_second));
    }
    let mut measuring = Measuring { args, session: session.without_transcript(), setup, checks: Vec::new() };
    let mut namer = AsFound::new(unit.facts.steps_per_metre);
    let mut finder = PhaseFinder::new(args.wires.rules(unit, ticks_per_second), &mut namer, &mut measuring);
    let ended = capture.replay(&calibrations, &mut finder)?;
    let found = finder.finish(ended);
    let rest = args.wires.rest;
    assumed.extend(cut("motion", found.cut, Found::HELD_MAX));
    assumed.push(match found.motions {
        1 => format!("1 motion found; no step for {rest} is a rest"),
        more => format!("{more} motions found; no step for {rest} is a rest"),
    });
    Ok(measuring.done(path, unit, assumed, ticks_per_second))
}

/// What is said of checks or motions that were cut.
fn cut(what: &str, count: usize, held_max: usize) -> Option<String> {
    let pieces =
        format!("cut into pieces that are measured one by one: no more than {held_max} edges and samples are kept");
    match count {
        0 => None,
        1 => Some(format!("1 {what} was {pieces}")),
        more => Some(format!("{more} {what}s were {pieces}")),
    }
}

/// Numbers of unit and jig; where no jig file says them, those of a perfect one.
fn setup(
    args: &MeasureArgs,
    capture: &OpenCapture,
    unit: &Unit,
    jig: Option<&JigFile>,
    assumed: &mut Vec<String>,
) -> Result<Setup, Failure> {
    let ticks_per_second = capture.ticks_per_second();
    let mut setup = match jig {
        Some(jig) => run::setup(unit, jig),
        None => Setup { unit: unit.facts.clone(), jig: perfect(args, capture)? },
    };
    if jig.is_none() {
        let resolution =
            crate::quantity::Unit::named("µs").map_or_else(String::new, |unit| unit.show(capture.resolution_s()));
        assumed.push(format!(
            "a perfect jig that tells {resolution} apart; name a jig file for the uncertainties of a real one"
        ));
    }
    if capture.is_foreign() {
        args.wires.narrow(&mut setup, ticks_per_second, assumed)?;
    } else if setup.jig.ticks_per_second != ticks_per_second {
        let own = setup.jig.ticks_per_second;
        let why = format!(
            "the capture's clock has {ticks_per_second} ticks a second and that of the jig file {own}; name the jig file of the bench that made it"
        );
        return Err(Failure::new(Exit::BadInput, anyhow!(why)));
    }
    Ok(setup)
}

fn perfect(args: &MeasureArgs, capture: &OpenCapture) -> Result<JigFacts, Failure> {
    let tick_s = 1.0 / capture.ticks_per_second() as f64;
    let resolution_s = capture.resolution_s();
    let encoder = args.encoder.unwrap_or(0.0);
    let has_scale =
        |channel: &EdgeChannel| !matches!(channel, EdgeChannel::EncoderA | EdgeChannel::EncoderB) || encoder > 0.0;
    Ok(JigFacts {
        ticks_per_second: capture.ticks_per_second(),
        clock_error: 0.0,
        clock_uncertainty: 0.0,
        // A tick's own resolution is in every budget already.
        stamp_uncertainty: if resolution_s > 1.5 * tick_s { RECTANGULAR * resolution_s } else { 0.0 },
        encoder_edges_per_metre: encoder,
        encoder_uncertainty: 0.0,
        edges: EdgeChannel::ALL.into_iter().filter(has_scale).collect(),
        calibrations: capture.perfect_calibrations()?,
        lit_above: 0.5,
    })
}

/// Measures each check as soon as it has ended.
struct Measuring<'a> {
    args: &'a MeasureArgs,
    session: Session,
    setup: Setup,
    checks: Vec<Told>,
}

impl Measuring<'_> {
    fn measure(&self, check: &CheckEvidence) -> MeasuredCheck {
        let seconds = |tick: u64| tick as f64 / self.setup.jig.ticks_per_second as f64;
        // What was neither captured nor said is left out; a value that should be there and is not has its reason.
        let is_of_the_link = |measurand: &Measurand| measurand.edges.is_empty() && measurand.samples.is_empty();
        let values = CATALOGUE
            .iter()
            .filter(|measurand| measurand.is_supported(&self.setup))
            .filter(|measurand| !(self.args.no_closer_look && measurand.needs_closer_look()))
            .filter(|measurand| !(check.without_transcript && is_of_the_link(measurand)))
            .map(|measurand| (measurand, measurand.read(check, &self.setup)))
            .filter(|(_, readings)| !readings.is_empty());
        let has_steps = self.setup.jig.edges.contains(&EdgeChannel::Step);
        MeasuredCheck {
            began_s: seconds(check.began),
            ended_s: seconds(check.ended),
            values: values.collect(),
            closer: closer::looked(check),
            timer: check.timer(&self.setup),
            step_clock: if has_steps { check.step_clock(&self.setup) } else { Vec::new() },
        }
    }

    fn done(self, path: &Path, unit: &Unit, assumed: Vec<String>, ticks_per_second: f64) -> Measured {
        Measured {
            capture: path.display().to_string(),
            unit: unit.title.clone(),
            assumed,
            losses: self.session.losses().to_vec(),
            checks: self.checks,
            ticks_per_second,
        }
    }
}

impl CaptureSink for Measuring<'_> {
    fn part(&mut self, part: &Part) {
        self.session.part(part);
    }

    fn mark(&mut self, mark: &Mark) {
        self.session.mark(mark);
        if let Some(check) = self.session.take_check() {
            let measured = self.measure(&check);
            self.checks.push(match self.args.format {
                Format::Json => Told::Json(shown::check_json(&measured)),
                Format::Text => Told::Text {
                    began_s: measured.began_s,
                    ended_s: measured.ended_s,
                    text: shown::check_text(&measured, self.args.budget),
                },
            });
        }
    }
}
