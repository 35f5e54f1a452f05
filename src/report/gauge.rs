//! A study of the jig made readable.

use super::look;
use super::number;
use super::page::{STUDY, page};
use super::plot::{Caption, Frame, Plot, Span};
use super::study::{found_how, found_how_html, opening, opening_html};
use super::svg::Stroke;
use super::text::{WIDTH_MAX, WIDTH_MIN, empty_table, folded, laid_out, styled};
use super::words::visible_within;
use crate::study::gauge::{Anova, Gauge, Line, Row, Spread};
use anstyle::Style;
use maud::{PreEscaped, html};

/// Up to this share a jig is good, up to the other it may do (Measurement Systems Analysis, AIAG).
const GOOD: f64 = 0.1;
const FAIR: f64 = 0.3;
/// So many classes have to be told apart (the same).
const CLASSES: u64 = 5;

/// The whole study, `width` columns wide.
pub fn gauge(study: &Gauge, width: u16) -> String {
    let width = width.clamp(WIDTH_MIN, WIDTH_MAX);
    let paragraph = |text: &str, indent: &str| folded(text, indent, width).join("\n") + "\n";
    let mut text = opening(&verdict(study), study.simulated, width);
    for row in &study.rows {
        text += &format!("\n{}\n", styled(&visible_within(&row.quantity.name(), 160), Style::new().bold()));
        text += &paragraph(&says(row), "  ");
        let mut table = empty_table(width);
        table.set_header(["spread", "s", "of study", "of tolerance", "s by ranges"]);
        for cells in parts(row) {
            table.add_row(cells);
        }
        text += &laid_out(&mut table, &[16, 0, 0, 0, 0]);
        let mut table = empty_table(width);
        table.set_header(["source", "df", "mean square", "F", "P"]);
        for cells in variance(&row.anova) {
            table.add_row(cells);
        }
        text += &format!("\n{}", laid_out(&mut table, &[16, 0, 0, 0, 0]));
        if let Some(trueness) = trueness(row) {
            text += &paragraph(&trueness, "  ");
        }
    }
    text + &found_how(&study.refused, &METHODS, width)
}

/// The page.
pub fn gauge_html(study: &Gauge) -> String {
    let title = format!("Jig study: {}", visible_within(&study.name, 160));
    let body = html! {
        body {
            h1 { (title) }
            (opening_html(&verdict(study), study.simulated))
            @for row in &study.rows {
                section {
                    h2 { (visible_within(&row.quantity.name(), 160)) }
                    p { (says(row)) }
                    div class="plots" {
                        @if let Some(plot) = readings(row) { figure { (PreEscaped(plot.svg)) figcaption { (plot.description) } } }
                    }
                    table {
                        thead { tr { th { "spread" } th { "s" } th { "of study" } th { "of tolerance" } th { "s by ranges" } } }
                        tbody { @for cells in parts(row) { tr { @for cell in cells { td { (cell) } } } } }
                    }
                    table {
                        thead { tr { th { "source" } th { "df" } th { "mean square" } th { "F" } th { "P" } } }
                        tbody { @for cells in variance(&row.anova) { tr { @for cell in cells { td { (cell) } } } } }
                    }
                    @if let Some(trueness) = trueness(row) { p { (trueness) } }
                }
            }
            (found_how_html(&study.refused, &METHODS))
        }
    };
    page(&title, STUDY, &body)
}

/// Every reading, unit by unit: how far those of one unit lie apart against how far units do.
fn readings(row: &Row) -> Option<Plot> {
    let shown = row.readings.iter().take(look::CURVES.len());
    let points = || row.readings.iter().take(look::CURVES.len()).flat_map(|(_, points)| points);
    let last = points().map(|point| point.0).fold(0.0, f64::max);
    let x = Span::tight([0.5, last + 0.5].into_iter(), last.min(10.0))?;
    let y = Span::of(points().map(|point| point.1), 5.0)?;
    let strokes = look::CURVES.map(|(colour, dash)| Stroke { colour, width: 1.0, dash });
    let legend = shown.zip(strokes).map(|((name, _), stroke)| (visible_within(name, 40), stroke)).collect();
    let caption = Caption {
        title: "Readings",
        unit: &row.quantity.unit,
        along: "unit, in the order in which it came",
        description: format!("{} readings of {} units by {} appraisers.", points().count(), row.units, row.appraisers),
        legend,
    };
    let mut frame = Frame::new(caption, x, y, number::plain);
    let aside = 0.4 / row.readings.len().max(1) as f64;
    for (place, ((_, points), stroke)) in row.readings.iter().zip(strokes).enumerate() {
        // Appraisers stand side by side, so that one does not hide another.
        let beside = (place as f64 - 0.5 * (row.readings.len() as f64 - 1.0)) * aside;
        for at in frame.places(points.iter().map(|point| (point.0 + beside, point.1))) {
            frame.drawing.disc(at, 1.5, look::PAPER, Stroke { dash: "", ..stroke });
        }
    }
    Some(frame.finish())
}

const METHODS: [&str; 4] = [
    "analysis of variance, crossed or nested (Burdick, Borror and Montgomery 2005); an interaction that chance alone would show \
     in one of four studies is pooled with repeatability; variances below zero are taken as none",
    "ranges: d₂ of ISO 7870-2, of a single range by its root mean square (Duncan, appendix D3; AIAG)",
    "of study: s over that of all readings; of tolerance: 6 s over its width, or 3 s over the distance of its one limit from the \
     mean; classes: √2 times s of units over s of the jig (AIAG)",
    "bias: Student (1908), readings counted as independent; linearity: least squares",
];

fn verdict(study: &Gauge) -> String {
    let share = |row: &Row| decisive(row).0;
    let Some(worst) = study.rows.iter().max_by(|one, other| share(one).total_cmp(&share(other))) else {
        return format!("{}: nothing could be studied.", visible_within(&study.name, 120));
    };
    let (share, of) = decisive(worst);
    format!(
        "{}: the jig takes most of {}, {} of {of}: {}.",
        visible_within(&study.name, 120),
        visible_within(&worst.quantity.name(), 160),
        percent(share),
        judged(share)
    )
}

/// The share that decides: of the tolerance where there is one.
fn decisive(row: &Row) -> (f64, &'static str) {
    let spread = &row.anova.spread;
    match spread.of_tolerance(&row.quantity, row.mean) {
        Some(share) => (share, "the tolerance"),
        None => (spread.of_study(), "the spread of this study"),
    }
}

fn judged(share: f64) -> &'static str {
    if share <= GOOD {
        "it tells good from bad"
    } else if share <= FAIR {
        "it may do, where a wrong decision costs little"
    } else {
        "it cannot tell good from bad"
    }
}

fn percent(share: f64) -> String {
    format!("{} %", number::significant(100.0 * share, 3))
}

fn says(row: &Row) -> String {
    let classes = match row.anova.spread.classes() {
        Some(classes) if classes < CLASSES => {
            format!("{classes} classes of units can be told apart, and {CLASSES} are wanted")
        }
        Some(classes) => format!("{classes} classes of units can be told apart"),
        None => "the jig did not scatter at all".into(),
    };
    let (share, of) = decisive(row);
    format!(
        "{} units, {} appraisers, {} repeats, {}; the jig takes {} of {of}: {}; {classes}",
        row.units,
        row.appraisers,
        row.repeats,
        row.anova.kind.words(),
        percent(share),
        judged(share)
    )
}

fn parts(row: &Row) -> Vec<[String; 5]> {
    let spread = &row.anova.spread;
    let ranges = row.ranges.map(|ranges| ranges.spread);
    let whole = spread.of_tolerance(&row.quantity, row.mean).map(|share| share / spread.jig);
    let part = |name: &str, of: fn(&Spread) -> f64| {
        let s = of(spread);
        [
            name.to_owned(),
            number::with_unit(&number::significant(s, 4), &row.quantity.unit),
            percent(s / spread.total),
            whole.filter(|whole| whole.is_finite()).map_or_else(|| "–".into(), |whole| percent(s * whole)),
            ranges.map_or_else(|| "–".into(), |ranges| number::significant(of(&ranges), 4)),
        ]
    };
    vec![
        part("repeatability", |spread| spread.repeatability),
        part("reproducibility", |spread| spread.reproducibility),
        part("jig", |spread| spread.jig),
        part("units", |spread| spread.units),
        part("all", |spread| spread.total),
    ]
}

fn variance(anova: &Anova) -> Vec<[String; 5]> {
    let cells = |line: &Line| {
        let test = |which: fn(&(f64, f64)) -> f64| {
            line.test.as_ref().map_or_else(|| "–".into(), |test| number::significant(which(test), 3))
        };
        [
            line.source.to_owned(),
            number::plain(line.freedom),
            number::significant(line.mean_square(), 4),
            test(|test| test.0),
            test(|test| test.1),
        ]
    };
    anova.lines.iter().map(cells).collect()
}

fn trueness(row: &Row) -> Option<String> {
    let trueness = row.trueness.as_ref()?;
    let unit = &row.quantity.unit;
    let doubt = trueness.interval.map_or(0.0, |(low, high)| 0.5 * (high - low));
    let mut said = format!("bias against references {}", number::measured(trueness.bias, doubt, unit));
    if let Some(probability) = trueness.probability {
        said += &format!(" (P {})", number::significant(probability, 2));
    }
    if let Some(linearity) = &trueness.linearity {
        let (slope, probability) =
            (number::significant(linearity.slope, 3), number::significant(linearity.probability, 2));
        said += &format!("; it changes by {slope} per unit of the value (P {probability})");
    }
    Some(said)
}
