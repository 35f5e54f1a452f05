//! A sheet as one HTML file: fonts, drawings and style inside, no script, everything escaped by construction.

use super::{Failure, Group, Row, Sheet, phrases};
use crate::record::stored::Verdict;
use crate::report::face::Weight;
use crate::report::{look, overdue, page};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");

/// The whole page.
pub fn page(sheet: &Sheet) -> String {
    let title = format!("{}: {}, {}", sheet.title, sheet.model, sheet.serial);
    let body = html! {
        body class=[sheet.simulated.map(|_| "simulated")] {
            main {
                @if let Some(mark) = sheet.simulated {
                    div class="again" aria-hidden="true" { p { (mark) } }
                }
                div class="sheet" {
                    @if let Some(mark) = sheet.simulated { p class="mark first" { (mark) } }
                    (head(sheet))
                    (failures(sheet))
                    @if sheet.comparison.is_empty() { (results(sheet)) } @else { (comparison(sheet)) }
                    (plots(sheet))
                    (bench(sheet))
                    (cautions(sheet))
                    p class="small" { (phrases::END) }
                    footer {
                        (sheet.model) ", serial number " (sheet.serial) " · run " (sheet.run_id)
                        " · record.json SHA-256 " (sheet.digest)
                    }
                }
            }
        }
    };
    page::page(&title, &(fonts() + STYLE), &body)
}

fn fonts() -> String {
    [(400, Weight::Regular), (600, Weight::SemiBold)]
        .map(|(weight, face)| {
            let data = STANDARD.encode(face.file());
            format!(
                "@font-face{{font-family:Inter;font-weight:{weight};src:url(data:font/otf;base64,{data}) format(\"opentype\")}}"
            )
        })
        .concat()
}

/// Colours of a decision, for the style sheet.
fn hue(verdict: Verdict) -> String {
    format!("--hue:{};--wash:{}", look::colour(verdict), look::wash(verdict))
}

fn decision(verdict: Verdict) -> Markup {
    html! { span class="decision" style=(hue(verdict)) { (look::mark(verdict)) " " (look::words(verdict)) } }
}

fn head(sheet: &Sheet) -> Markup {
    html! {
        header style=(hue(sheet.verdict)) {
            div {
                p class="kind" { span class="maker" { (sheet.maker) } " · " (sheet.title) }
                h1 { (sheet.model) }
                p class="serial" { span { "Serial number " } strong { (sheet.serial) } }
            }
            div class="verdict" {
                strong { (look::mark(sheet.verdict)) " " (sheet.headline) }
                p { (sheet.statement) }
            }
        }
        dl class="facts" {
            @for fact in &sheet.facts {
                div class=[fact.is_wide.then_some("wide")] { dt { (fact.name) } dd { (fact.value) } }
            }
        }
    }
}

fn failures(sheet: &Sheet) -> Markup {
    html! {
        (list(overdue::TITLE, &sheet.overdue))
        (list("Why the run is invalid", &sheet.reasons))
        @if !sheet.failures.is_empty() {
            h2 { "What is not proven to conform" }
            @for one in &sheet.failures { (failure(one)) }
        }
    }
}

/// A section of plain lines; nothing where there are none.
fn list(title: &str, lines: &[String]) -> Markup {
    html! {
        @if !lines.is_empty() {
            h2 { (title) }
            ul class="plain" { @for line in lines { li { (line) } } }
        }
    }
}

fn failure(failure: &Failure) -> Markup {
    html! {
        section class="failure" style=(hue(failure.verdict)) {
            h3 { (failure.check) " " (decision(failure.verdict)) }
            @for point in &failure.points {
                p { strong { (point.name) } ": " (point.says) }
            }
            @for finding in &failure.findings { p { (finding) } }
            @if !failure.look_first.is_empty() {
                p class="first" { strong { "Look first at: " } (failure.look_first.join(", ")) }
            }
        }
    }
}

fn results(sheet: &Sheet) -> Markup {
    html! {
        h2 { "Results" }
        p class="rule" { (sheet.rule) }
        p class="small" { (phrases::SCALES) }
        table class="results" {
            colgroup { col; col; col; col; col; }
            thead { tr { @for head in ["Requirement", "Measured", "Limits", "Scale", "Decision"] { th scope="col" { (head) } } } }
            @for one in &sheet.groups { tbody { (group(one)) } }
        }
    }
}

fn comparison(sheet: &Sheet) -> Markup {
    html! {
        h2 { "As shipped and now" }
        p class="rule" { (sheet.rule) }
        table class="comparison" {
            thead { tr {
                @for head in ["Value", "As shipped", "Now", "Change", "E", ""] {
                    th scope="col" { (head) @if head == "E" { sub { "n" } } }
                }
            } }
            tbody { @for one in &sheet.comparison { tr {
                th class="name" scope="row" {
                    @if one.wears { strong { (one.name) } } @else { (one.name) }
                    div class="small" { @if one.wears { "wears" @if !one.note.is_empty() { "; " } } (one.note) }
                }
                td data-head="As shipped" { (one.shipped) }
                td data-head="Now" { (one.now) }
                td data-head="Change" { (one.change) }
                td data-head="E_n" { (one.e_n) }
                td data-head="" { span class="decision" style=(hue(one.verdict)) { (look::mark(one.verdict)) " " (one.told) } }
            } } }
        }
    }
}

fn group(group: &Group) -> Markup {
    html! {
        tr class="check" {
            th colspan="5" scope="rowgroup" {
                (decision(group.verdict)) (group.name)
                @if let Some(because) = &group.because { span class="because" { (because) } }
                @for remark in &group.remarks { span class="remark" { (remark) } }
            }
        }
        @for one in &group.rows { (row(one)) }
    }
}

fn row(row: &Row) -> Markup {
    html! {
        tr {
            th class="name" scope="row" { (row.name) div class="small" { (row.note) } }
            td data-head="Measured" { (row.value) div class="small" { (row.coverage) } }
            td data-head="Limits" { (row.limits) div class="small" { (row.margin) } }
            td data-head="" { @if let Some(scale) = &row.scale { (PreEscaped(scale)) } }
            td data-head="" { (decision(row.verdict)) }
        }
    }
}

fn plots(sheet: &Sheet) -> Markup {
    html! {
        @if !sheet.plots.is_empty() {
            h2 { "Curves of this run" }
            div class="plots" { @for plot in &sheet.plots { figure { (PreEscaped(&plot.svg)) } } }
        }
    }
}

fn bench(sheet: &Sheet) -> Markup {
    html! {
        @if !sheet.calibrations.is_empty() {
            h2 { "Calibration of the bench" }
            table class="calibrations" {
                thead { tr { @for head in ["Channels", "Calibrated", "Holds up to"] { th scope="col" { (head) } } } }
                tbody { @for line in &sheet.calibrations { tr { @for cell in line { td { (cell) } } } } }
            }
        }
        (list("Notes of the bench", &sheet.notes))
    }
}

fn cautions(sheet: &Sheet) -> Markup {
    html! {
        h2 { "Cautions" }
        ul class="cautions last" {
            @for (what, how) in sheet.cautions { li { strong { (what) } " " (how) } }
        }
    }
}
