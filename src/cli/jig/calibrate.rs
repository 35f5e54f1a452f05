//! `railproof jig calibrate`: readings of a channel against a reference become its numbers in the jig file.

use super::live::{self, LiveArgs};
use super::shown::{self, Shown};
use crate::care::calibrate::{self, Doubt, Fits, Fitted, Renewal, Rewritten, Target, Validity, readings};
use crate::cli::inputs::{InputFile, refuse};
use crate::cli::{Exit, Failure, Format, day, print};
use crate::clock::{Clock, ComputerClock};
use crate::jig::{Dates, JigFile, JigKind};
use crate::written::Mistake;
use anyhow::anyhow;
use clap::Args;
use std::path::{Path, PathBuf};
use time::Date;

/// Which channel, what was read of it, and until when that is to hold.
#[derive(Debug, Args)]
pub struct CalibrateArgs {
    /// The jig file
    #[arg(long, value_name = "FILE")]
    jig: PathBuf,
    /// What is calibrated: a sampled channel, `clock` or `encoder`
    #[arg(long, value_name = "NAME")]
    channel: String,
    /// Table of readings (CSV) with the columns `code` (of the clock `ticks`, of the encoder `edges`), `reference [V]`,
    /// `uncertainty [mV]`, and if need be `scatter` and `readings` of a mean
    #[arg(long, value_name = "FILE", required_unless_present_any = ["points", "pulses"], conflicts_with_all = ["points", "pulses"])]
    from: Option<PathBuf>,
    /// Standard uncertainty of the reference that all readings share: `1 mV`, or a part of its value, `0.02 %`; may be
    /// repeated
    #[arg(long = "reference-uncertainty", value_name = "U", allow_hyphen_values = true)]
    pub reference_uncertainties: Vec<String>,
    /// What the channel may drift by until then, as a standard uncertainty that is added: `2 mV`, `0.05 %`, of the clock
    /// and the encoder `10 ppm`
    #[arg(long, value_name = "U", allow_hyphen_values = true)]
    drift: Option<String>,
    /// The last day on which the calibration holds
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day, conflicts_with = "valid_for")]
    due: Option<Date>,
    /// How long it holds, for example `1 year`; else as long as the last one
    #[arg(long, value_name = "SPAN", value_parser = validity)]
    valid_for: Option<Validity>,
    /// Under what conditions it was made, for example `21.5 °C, 45 % RH`
    #[arg(long, value_name = "WORDS", value_parser = environment)]
    environment: Option<String>,
    /// Show what would change, and change nothing
    #[arg(long)]
    dry_run: bool,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    pub live: LiveArgs,
}

fn validity(text: &str) -> Result<Validity, String> {
    Validity::parse(text).map_err(|mistake| format!("{}; {}", mistake.what, mistake.right))
}

fn environment(text: &str) -> Result<String, String> {
    const LENGTH_MAX: usize = 200;
    let text = text.trim();
    if text.is_empty() || text.chars().count() > LENGTH_MAX || text.chars().any(char::is_control) {
        return Err(format!("write up to {LENGTH_MAX} characters on one line, for example `21.5 °C, 45 % RH`"));
    }
    Ok(text.to_owned())
}

/// Calibrates a channel.
pub fn calibrate(args: &CalibrateArgs) -> Result<Exit, Failure> {
    let file = InputFile::read(&args.jig)?;
    let jig = JigFile::read(&file.source).map_err(|problems| refuse(&problems))?;
    let target = Target::named(&jig, args.channel.trim()).map_err(usage)?;
    let today = ComputerClock::new().wall().date();
    let dates = Dates { calibrated: today, due: due(args, &target, today)? };
    environment_is_known(args, &jig, &target)?;
    let shared = shared(args, &target)?;
    let drift = drift(args, &target)?;
    let mut fitted = match &args.from {
        Some(table) => from_table(table, &target, &shared)?,
        None => {
            let readings = live::readings(args, &jig, &target)?;
            let fitted = calibrate::fit(&target, readings, &shared);
            fitted.map_err(|mistake| Failure::new(Exit::Invalid, anyhow!("{}; {}", mistake.what, mistake.right)))?
        }
    };
    if let Some(drift) = drift {
        fitted.calibrated = fitted.calibrated.with_drift(drift);
    }
    let renewed = match fitted.fits {
        Fits::Not => None,
        _ => Some(renew(args, &file, &jig, &fitted, dates)?),
    };
    // Only the bench of a simulated jig file can be read live without a real one.
    let simulated = args.from.is_none() && jig.kind == JigKind::Simulated;
    let shown = Shown {
        before: &target,
        fitted: &fitted,
        renewed: renewed.as_ref(),
        old: file.source.text(),
        simulated,
        has_drift: drift.is_some(),
    };
    print(&match args.format {
        Format::Text => shown::text(&shown),
        Format::Json => shown::json(&shown),
    })?;
    Ok(if renewed.is_some() { Exit::Done } else { Exit::DoesNotConform })
}

/// A jig file as it was renewed, or would be.
pub struct Renewed {
    pub file: PathBuf,
    pub rewritten: Rewritten,
    /// Where the old file was kept; nowhere where nothing was written.
    pub kept: Option<PathBuf>,
}

fn renew(
    args: &CalibrateArgs,
    file: &InputFile,
    jig: &JigFile,
    fitted: &Fitted,
    dates: Dates,
) -> Result<Renewed, Failure> {
    let renewal = Renewal { calibrated: fitted.calibrated, dates, environment: args.environment.clone() };
    let name = file.source.name();
    let rewritten = calibrate::rewrite(&file.source, jig, &renewal).map_err(|mistake| {
        let why = anyhow!("{name}: {}; {}; nothing was changed", mistake.what, mistake.right);
        Failure::new(Exit::BadInput, why)
    })?;
    let kept = if args.dry_run {
        None
    } else {
        // The text is without the mark that some editors begin a file with.
        let mark = file.bytes.len() - file.source.text().len();
        let new = [&file.bytes[..mark], rewritten.text.as_bytes()].concat();
        let kept = calibrate::replace(&args.jig, &file.bytes, &new, dates.calibrated);
        Some(kept.map_err(|error| Failure::new(Exit::Invalid, anyhow!("{name}: cannot be written: {error}")))?)
    };
    Ok(Renewed { file: args.jig.clone(), rewritten, kept })
}

/// The last day on which the new calibration holds.
fn due(args: &CalibrateArgs, target: &Target, today: Date) -> Result<Date, Failure> {
    let wrong = |why: String| Failure::new(Exit::Usage, anyhow!(why));
    match args.due {
        Some(due) if due <= today => Err(wrong(format!("--due {due}: today is {today}; name a later day"))),
        Some(due) => Ok(due),
        None => {
            let validity = args.valid_for.unwrap_or_else(|| Validity::of(target.dates()));
            let beyond = "that is beyond the calendar; give a shorter --valid-for";
            validity.after(today).ok_or_else(|| wrong(beyond.into()))
        }
    }
}

/// The words of an old calibration must not stand beside a new one.
fn environment_is_known(args: &CalibrateArgs, jig: &JigFile, target: &Target) -> Result<(), Failure> {
    match jig.environments.get(&target.name()) {
        Some(words) if args.environment.is_none() => {
            let why =
                format!("the last calibration was made at `{words}`; say by --environment what this one was made at");
            Err(Failure::new(Exit::Usage, anyhow!(why)))
        }
        _ => Ok(()),
    }
}

fn shared(args: &CalibrateArgs, target: &Target) -> Result<Vec<Doubt>, Failure> {
    let parse = |text: &String| Doubt::parse(text, target.difference());
    let doubts: Result<_, _> = args.reference_uncertainties.iter().map(parse).collect();
    doubts.map_err(|misread| Failure::new(Exit::Usage, anyhow!("--reference-uncertainty: {misread}")))
}

/// What the channel may drift by.
fn drift(args: &CalibrateArgs, target: &Target) -> Result<Option<Doubt>, Failure> {
    /// A channel that drifts by more is no instrument.
    const PART_MAX: f64 = 0.2;
    let Some(text) = &args.drift else { return Ok(None) };
    let wrong = |why: String| Failure::new(Exit::Usage, anyhow!("--drift: {why}"));
    let drift = Doubt::parse(text, target.drift()).map_err(|misread| wrong(misread.to_string()))?;
    let is_part = !matches!(target, Target::Sample(_)) || matches!(drift, Doubt::Relative(_));
    if is_part && drift.at(1.0) > PART_MAX {
        return Err(wrong(format!("`{text}` is no drift of an instrument; name the part by which it may change")));
    }
    Ok(Some(drift))
}

fn from_table(table: &Path, target: &Target, shared: &[Doubt]) -> Result<Fitted, Failure> {
    let table = InputFile::read(table)?;
    let read = readings::read(&table.source, target, !shared.is_empty()).map_err(|problems| refuse(&problems))?;
    calibrate::fit(target, read, shared).map_err(|mistake| refuse(&[readings::of_the_whole(&table.source, mistake)]))
}

fn usage(mistake: Mistake) -> Failure {
    Failure::new(Exit::Usage, anyhow!("{}; {}", mistake.what, mistake.right))
}
