//! The closer look at each motion, for people and for programs: tones with their cause, stumbles of the step clock, and
//! where the carriage lost its way.

use crate::measure::{
    CheckEvidence, CloserLook, Doubled, Family, Followed, Gap, Listed, LostWay, Place, Spectrum, WayCause,
};
use crate::report::measured;
use crate::stats::spectrum::Tone;
use crate::stats::{COVERAGE, Estimate};
use serde_json::{Value, json};
use std::fmt::Write;

/// The most families of tones that a person is shown.
const FAMILIES_SHOWN: usize = 8;
/// The most happenings of a kind that a person is shown.
const HAPPENINGS_SHOWN: usize = 5;

/// A motion that was looked at closer.
pub struct Looked {
    label: String,
    look: CloserLook,
}

/// The motions of a check that made steps.
pub fn looked(check: &CheckEvidence) -> Vec<Looked> {
    let moves = check.phases.iter().filter(|phase| phase.phase.action.moves_the_carriage());
    moves
        .filter_map(|phase| Some(Looked { label: phase.phase.label.clone(), look: phase.closer.as_deref()?.clone() }))
        .collect()
}

/// A value in a unit that suits it: factor from SI, and the unit's symbol.
type Shown = (f64, &'static str);

fn seconds(value: f64) -> Shown {
    match value.abs() {
        1.0.. => (1.0, "s"),
        1e-3.. => (1e3, "ms"),
        1e-6.. => (1e6, "µs"),
        _ => (1e9, "ns"),
    }
}

fn speed(value: f64) -> Shown {
    if value.abs() >= 1e-4 { (1e3, "mm/s") } else { (1e6, "µm/s") }
}

/// The section of text; nothing where there was no motion.
pub fn text(moves: &[Looked]) -> String {
    let mut lines = Lines::default();
    if !moves.is_empty() {
        lines.add(format_args!("\ncloser look"));
    }
    for Looked { label, look } in moves {
        lines.add(format_args!("  {label}"));
        spectrum(&mut lines, "step clock", "steps", look.step_clock.as_ref(), seconds);
        spectrum(&mut lines, "carriage speed", "borders of the encoder", look.carriage.as_ref(), speed);
        happenings(&mut lines, "doubled steps", &look.doubled, doubled);
        happenings(&mut lines, "late steps", &look.gaps, gap);
        happenings(&mut lines, "lost way", &look.lost, lost);
    }
    lines.0
}

#[derive(Default)]
struct Lines(String);

impl Lines {
    fn add(&mut self, line: std::fmt::Arguments<'_>) {
        writeln!(self.0, "{line}").expect("writing to memory cannot fail");
    }
}

fn spectrum(lines: &mut Lines, what: &str, of: &str, spectrum: Option<&Spectrum>, shown: fn(f64) -> Shown) {
    let Some(spectrum) = spectrum else {
        lines.add(format_args!("    {what}: no cruise that is long enough for a spectrum"));
        return;
    };
    let (low, high) = spectrum.band;
    let part = if spectrum.readings == spectrum.of_readings {
        format!("all {}", spectrum.readings)
    } else {
        format!("the first {} of {}", spectrum.readings, spectrum.of_readings)
    };
    let (factor, symbol) = shown(spectrum.unseen_at_most);
    let unseen = spectrum.unseen_at_most * factor;
    let resolution = spectrum.resolution;
    lines.add(format_args!(
        "    {what}: {part} {of}, {low:.2} Hz to {high:.0} Hz, {resolution:.2} Hz apart; \
         none unseen above {unseen:.3} {symbol}"
    ));
    for family in spectrum.families.iter().take(FAMILIES_SHOWN) {
        lines.add(format_args!("      {}", told(family, shown)));
    }
    let more: usize = spectrum.families.iter().skip(FAMILIES_SHOWN).map(|family| 1 + family.overtones.len()).sum();
    if spectrum.families.is_empty() {
        lines.add(format_args!("      no tone"));
    } else if more + spectrum.left_out > 0 {
        lines.add(format_args!("      {} smaller tones", more + spectrum.left_out));
    }
}

/// `50.0012 ± 0.0004 Hz, 1.62 ± 0.03 µs: light-bar refresh, and 70 harmonics up to 3550 Hz; together 9.6 µs rms`.
fn told(family: &Family, shown: fn(f64) -> Shown) -> String {
    let tone = &family.tone;
    let (frequency, amplitude) = estimates(tone);
    let (factor, symbol) = shown(tone.amplitude);
    let frequency = measured(frequency.value, frequency.expanded_uncertainty(COVERAGE), "Hz");
    let amplitude = measured(amplitude.value * factor, amplitude.expanded_uncertainty(COVERAGE) * factor, symbol);
    let mut told = format!("{frequency}, {amplitude}: {}", cause(family));
    if let Some(last) = family.overtones.last() {
        let (factor, symbol) = shown(family.rms());
        write!(
            told,
            ", and {} more of it up to {:.0} Hz; together {:.3} {symbol} rms",
            family.overtones.len(),
            last.frequency,
            family.rms() * factor
        )
        .expect("writing to memory cannot fail");
    }
    told
}

fn cause(family: &Family) -> String {
    let Some(cause) = family.cause else { return "unnamed".into() };
    let or = family.or.map_or_else(String::new, |or| format!(" (or {}: the same frequency)", or.name()));
    match family.harmonic {
        1 => format!("{}{or}", cause.name()),
        harmonic => format!("{}, harmonic {harmonic}{or}", cause.name()),
    }
}

fn estimates(tone: &Tone) -> (Estimate, Estimate) {
    let freedom = tone.degrees_of_freedom;
    (
        Estimate::of(tone.frequency).with_freedom("noise", tone.frequency_uncertainty, freedom),
        Estimate::of(tone.amplitude).with_freedom("noise", tone.amplitude_uncertainty, freedom),
    )
}

fn happenings<T>(lines: &mut Lines, what: &str, all: &Listed<T>, told: fn(&T) -> String) {
    if all.count == 0 {
        lines.add(format_args!("    {what}: none"));
        return;
    }
    lines.add(format_args!("    {what}: {}", all.count));
    for one in all.listed.iter().take(HAPPENINGS_SHOWN) {
        lines.add(format_args!("      {}", told(one)));
    }
    let more = all.count - all.listed.len().min(HAPPENINGS_SHOWN);
    if more > 0 {
        lines.add(format_args!("      {more} more"));
    }
}

/// `step 1234 to the right, 1.234 s, 123.45 mm from the left end`.
fn at(place: &Place) -> String {
    let way = if place.rightward { "right" } else { "left" };
    let origin = if place.from_left_end { "the left end" } else { "where the move began" };
    let carriage = place.carriage.map_or_else(String::new, |metres| format!(", {:.2} mm from {origin}", metres * 1e3));
    format!("step {} to the {way}, at {:.3} s{carriage}", place.step, place.at_s)
}

fn doubled(one: &Doubled) -> String {
    let (factor, symbol) = seconds(one.after_s);
    let followed = match one.followed {
        Followed::Yes => "; the carriage followed it",
        Followed::No => "; the carriage did not follow it: a disturbance of the line",
        Followed::Unknown => "",
    };
    format!("{}: a second pulse after {:.2} {symbol}{followed}", at(&one.place), one.after_s * factor)
}

fn gap(one: &Gap) -> String {
    let (factor, symbol) = seconds(one.length_s);
    let then = match one.skipped {
        0 => "then caught up".to_owned(),
        1 => "1 step skipped".to_owned(),
        more => format!("{more} steps skipped"),
    };
    let (length, period) = (one.length_s * factor, one.period_s * factor);
    format!("{}: {length:.1} {symbol} where {period:.1} {symbol} was due, {then}", at(&one.place))
}

fn lost(one: &LostWay) -> String {
    let steps = one.steps.abs();
    let which = if one.steps > 0.0 { "missing" } else { "extra" };
    let cause = match one.cause {
        WayCause::Motor { turns } => {
            let turns = turns.unsigned_abs();
            format!("motor out of step by {} full steps", 4 * turns)
        }
        WayCause::Belt { teeth: 1 | -1 } => "belt slipped by 1 tooth".to_owned(),
        WayCause::Belt { teeth } => format!("belt slipped by {} teeth", teeth.unsigned_abs()),
        WayCause::Neither => "neither whole turns of the motor's field nor whole teeth".to_owned(),
    };
    let back = match one.edges_back {
        0 => String::new(),
        edges => format!("; {edges} encoder edges backwards"),
    };
    let settled = if one.settled { "" } else { "; not settled before the run ended" };
    format!("{}: {steps:.0} steps {which} within {:.3} s: {cause}{back}{settled}", at(&one.place), one.lasted_s)
}

/// The same for programs, in SI units.
pub fn json(moves: &[Looked]) -> Value {
    let one = |Looked { label, look }: &Looked| {
        json!({
            "move": label,
            "step_clock": look.step_clock.as_ref().map(|spectrum| spectrum_json(spectrum, "s", "s²/Hz")),
            "carriage_speed": look.carriage.as_ref().map(|spectrum| spectrum_json(spectrum, "m/s", "m²/Hz")),
            "doubled_steps": listed(&look.doubled, |one| json!({
                "place": place(&one.place),
                "after_s": one.after_s,
                "carriage_followed": match one.followed {
                    Followed::Yes => Some(true),
                    Followed::No => Some(false),
                    Followed::Unknown => None,
                },
            })),
            "late_steps": listed(&look.gaps, |one| json!({
                "place": place(&one.place),
                "length_s": one.length_s,
                "period_s": one.period_s,
                "skipped": one.skipped,
            })),
            "lost_way": listed(&look.lost, |one| json!({
                "place": place(&one.place),
                "lasted_s": one.lasted_s,
                "steps": one.steps,
                "by": match one.cause {
                    WayCause::Motor { .. } => "motor",
                    WayCause::Belt { .. } => "belt",
                    WayCause::Neither => "neither",
                },
                "full_steps": if let WayCause::Motor { turns } = one.cause { Some(4 * turns) } else { None },
                "teeth": if let WayCause::Belt { teeth } = one.cause { Some(teeth) } else { None },
                "encoder_edges_backwards": one.edges_back,
                "settled": one.settled,
            })),
        })
    };
    moves.iter().map(one).collect()
}

fn listed<T>(all: &Listed<T>, one: impl Fn(&T) -> Value) -> Value {
    json!({ "count": all.count, "listed": all.listed.iter().map(one).collect::<Vec<_>>() })
}

fn place(place: &Place) -> Value {
    json!({
        "at_s": place.at_s,
        "step": place.step,
        "rightward": place.rightward,
        "carriage_m": place.carriage,
        "from": if place.from_left_end { "left end" } else { "beginning of the move" },
    })
}

fn spectrum_json(spectrum: &Spectrum, unit: &str, density_unit: &str) -> Value {
    let density = spectrum.density.as_ref().map(|density| {
        json!({
            "unit": density_unit,
            "width_hz": density.width,
            "segments": density.segments,
            "values": density.values,
        })
    });
    json!({
        "unit": unit,
        "readings": spectrum.readings,
        "of_readings": spectrum.of_readings,
        "rate_hz": spectrum.rate,
        "resolution_hz": spectrum.resolution,
        "from_hz": spectrum.band.0,
        "to_hz": spectrum.band.1,
        "unseen_at_most": spectrum.unseen_at_most,
        "tones_left_out": spectrum.left_out,
        "tones": spectrum.families.iter().map(family_json).collect::<Vec<_>>(),
        "density": density,
    })
}

fn family_json(family: &Family) -> Value {
    let mut value = tone_json(&family.tone);
    value["cause"] = json!(family.cause.map(|cause| cause.name()));
    value["or"] = json!(family.or.map(|cause| cause.name()));
    value["harmonic"] = json!(family.harmonic);
    value["rms_together"] = json!(family.rms());
    value["overtones"] = family.overtones.iter().map(tone_json).collect();
    value
}

fn tone_json(tone: &Tone) -> Value {
    let (frequency, amplitude) = estimates(tone);
    json!({
        "frequency_hz": tone.frequency,
        "frequency_expanded_uncertainty_hz": frequency.expanded_uncertainty(COVERAGE),
        "amplitude": tone.amplitude,
        "amplitude_expanded_uncertainty": amplitude.expanded_uncertainty(COVERAGE),
        "above_noise": tone.above_noise,
    })
}
