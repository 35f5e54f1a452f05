//! A calibration for people and for programs.

use super::calibrate::Renewed;
use crate::care::calibrate::{Change, Fits, Fitted, Target, Term};
use crate::cli::show;
use crate::quantity::Unit;
use serde_json::{Value, json};
use std::collections::HashSet;

/// What there is to show.
pub struct Shown<'a> {
    /// The channel as it was.
    pub before: &'a Target,
    pub fitted: &'a Fitted,
    /// The jig file; none where the line does not fit, and nothing is written for it.
    pub renewed: Option<&'a Renewed>,
    /// The jig file's old text.
    pub old: &'a str,
    /// Whether what the channel may drift by was stated.
    pub has_drift: bool,
    /// Whether the readings are those of a simulated bench.
    pub simulated: bool,
}

/// A calibration as text.
pub fn text(shown: &Shown<'_>) -> String {
    let Shown { before, fitted, .. } = *shown;
    let mut text = format!("Calibration of `{}`, {} readings\n\n", before.name(), fitted.readings.len());
    if shown.simulated {
        text += "SIMULATED BENCH: no channel of a real jig was read.\n\n";
    }
    text += &points(before, fitted);
    text += &format!("\n{}\n{}\n", fits(fitted), span(before, fitted));
    if !shown.has_drift {
        text += "They are those of today: what the channel may drift by until it is due, --drift adds.\n";
    }
    text.push('\n');
    text += &terms(shown);
    text += &file(shown);
    text
}

/// What became of the jig file.
fn file(shown: &Shown<'_>) -> String {
    let Some(Renewed { file, rewritten, kept }) = shown.renewed else {
        return "\nThe jig file was not changed.\n".into();
    };
    let place = file.display();
    let said = match kept {
        Some(kept) => format!("{place} was changed; as it was, it is kept as {}.", kept.display()),
        None => format!("{place} would be changed like this; with --dry-run it was not."),
    };
    let differing = differing(shown.old, &rewritten.text);
    format!("\n{said}\n{}", differing.iter().map(|line| format!("  {line}\n")).collect::<String>())
}

/// Lines that are not in the other text, the old ones first.
fn differing(old: &str, new: &str) -> Vec<String> {
    let only = |these: &str, those: &str, sign: char| -> Vec<String> {
        let those: HashSet<&str> = those.lines().collect();
        these.lines().filter(|line| !those.contains(line)).map(|line| format!("{sign} {}", line.trim())).collect()
    };
    [only(old, new, '-'), only(new, old, '+')].concat()
}

/// Each reading with its distance from the line.
fn points(before: &Target, fitted: &Fitted) -> String {
    let (unit, differences) = units(before);
    let heads = ["reading", before.counts(), "reference", "off the line", "in its own doubt"];
    let rows = fitted.readings.iter().zip(&fitted.line.residuals).zip(&fitted.line.normalised).map(
        |((reading, residual), normalised)| {
            let doubt = residual / normalised;
            vec![
                reading.place.clone(),
                number(reading.count, reading.count_uncertainty),
                unit.show_to(reading.reference, doubt.abs()),
                differences.show_to(*residual, doubt.abs()),
                format!("{normalised:.2}"),
            ]
        },
    );
    show::figures(&heads, rows)
}

fn number(value: f64, uncertainty: f64) -> String {
    Unit::NONE.number_to(value, uncertainty)
}

/// What the scatter about the line says.
fn fits(fitted: &Fitted) -> String {
    let line = &fitted.line;
    let figures = format!(
        "χ² = {:.2} (ν = {}), P = {}",
        line.chi_square(),
        line.degrees_of_freedom(),
        probability(line.probability())
    );
    let worst = &fitted.readings[line.worst()];
    match fitted.fits {
        Fits::Well => format!("The line fits: {figures}."),
        Fits::Widened { factor } => format!(
            "The line hardly fits: {figures}. What the readings' own doubts leave was made {factor:.2} times as large. \
             Farthest off is the reading at {}.",
            worst.place
        ),
        Fits::Not => format!(
            "THE LINE DOES NOT FIT: {figures}. Farthest off is the reading at {}. Look at that reading; else the channel is \
             not straight, or the doubts are understated.",
            worst.place
        ),
    }
}

fn probability(probability: f64) -> String {
    if probability < 1e-4 { "below 0.01 %".into() } else { format!("{:.2} %", 100.0 * probability) }
}

/// Where the numbers hold.
fn span(before: &Target, fitted: &Fitted) -> String {
    if !matches!(before, Target::Sample(_)) {
        return "The uncertainties hold for any length of time or way.".into();
    }
    let (unit, _) = units(before);
    let references = || fitted.readings.iter().map(|reading| reading.reference);
    let (low, high) = (references().fold(f64::INFINITY, f64::min), references().fold(f64::NEG_INFINITY, f64::max));
    format!("The uncertainties hold from {} to {}, where readings were taken.", unit.show(low), unit.show(high))
}

/// The channel's numbers and dates before and after.
fn terms(shown: &Shown<'_>) -> String {
    show::figures(&["in the jig file", "before", "now"], rows(shown).into_iter().map(Vec::from))
}

/// Key, before, now. Where nothing is written there are the numbers alone.
fn rows(shown: &Shown<'_>) -> Vec<[String; 3]> {
    let Shown { before, fitted, renewed, .. } = *shown;
    let text = |term: &Term| term.text(term.usual_unit());
    let Some(renewed) = renewed else {
        let pairs = before.terms().into_iter().zip(fitted.calibrated.terms());
        return pairs.map(|(then, now)| [then.key.to_owned(), text(&then), text(&now)]).collect();
    };
    let dates = before.dates();
    let row = |change: &Change| {
        // What the channel does not say itself is what holds for it.
        let held = match change.key {
            "calibrated" => dates.calibrated.to_string(),
            "due" => dates.due.to_string(),
            key => before.terms().iter().find(|term| term.key == key).map(text).unwrap_or_default(),
        };
        [change.key.to_owned(), change.before.clone().unwrap_or(held), change.now.clone()]
    };
    renewed.rewritten.changes.iter().map(row).collect()
}

/// The usual unit of the reference and of its differences.
fn units(target: &Target) -> (Unit, Unit) {
    (target.reference().usual_unit(), target.difference().usual_unit())
}

/// A calibration for programs. Numbers are in SI; °C for temperatures.
pub fn json(shown: &Shown<'_>) -> String {
    let Shown { before, fitted, renewed, .. } = *shown;
    let line = &fitted.line;
    let points: Vec<Value> = fitted
        .readings
        .iter()
        .zip(&line.residuals)
        .zip(&line.normalised)
        .map(|((reading, residual), normalised)| {
            json!({
                "place": reading.place,
                "count": reading.count,
                "count_uncertainty": reading.count_uncertainty,
                "reference": reading.reference,
                "reference_uncertainty": reading.reference_uncertainty,
                "residual": residual,
                "normalised_residual": normalised,
            })
        })
        .collect();
    let (fits, widened_by) = match fitted.fits {
        Fits::Well => ("well", None),
        Fits::Widened { factor } => ("widened", Some(factor)),
        Fits::Not => ("not", None),
    };
    let numbers: Vec<Value> = before
        .terms()
        .iter()
        .zip(fitted.calibrated.terms())
        .map(|(then, now)| json!({ "key": then.key, "before": then.si, "now": now.si }))
        .collect();
    let written: Vec<Value> =
        rows(shown).into_iter().map(|[key, before, now]| json!({ "key": key, "before": before, "now": now })).collect();
    let told = json!({
        "channel": before.name(),
        "simulated": shown.simulated,
        "counts": before.counts(),
        "readings": points,
        "slope": line.slope,
        "slope_uncertainty": fitted.doubt.slope.sqrt(),
        "intercept": line.intercept,
        "intercept_uncertainty": fitted.doubt.intercept.sqrt(),
        "correlation": fitted.doubt.correlation(),
        "chi_square": line.chi_square(),
        "degrees_of_freedom": line.degrees_of_freedom(),
        "probability": line.probability(),
        "fits": fits,
        "widened_by": widened_by,
        "worst": fitted.readings[line.worst()].place,
        "counts_span": [fitted.counts().0, fitted.counts().1],
        "numbers": numbers,
        "in_the_jig_file": written,
        "kept": renewed.and_then(|renewed| renewed.kept.as_ref()).map(|kept| kept.display().to_string()),
    });
    format!("{told:#}\n")
}
