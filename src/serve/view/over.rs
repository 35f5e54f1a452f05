//! How a run ended: to be read from three metres, by its sign, its words and its ground; then where to look.

use super::assets::class;
use super::frame::{decision, name, run_path};
use crate::record::stored::Verdict;
use crate::report::{Brief, visible};
use crate::serve::scene::Over;
use maud::{Markup, html};

/// The whole result.
pub fn over(done: &Over) -> Markup {
    match &done.ended {
        Ok((run, brief)) => html! {
            (banner(&done.order.serial, &done.plan, brief))
            (ways(&done.order.serial, run, brief.verdict))
            (shortcomings(brief))
        },
        Err(why) => html! {
            section class="result invalid" {
                (sign(Verdict::Invalid))
                div { h1 { "No result" } p class="serial" { (name(&done.order.serial)) } p { (visible(why)) } }
            }
        },
    }
}

/// The result beside those of other benches.
pub fn small(done: &Over) -> Markup {
    html! {
        @match &done.ended {
            Ok((run, brief)) => div class={ "result small " (class(brief.verdict)) } {
                (sign(brief.verdict))
                div {
                    p class="headline" { (brief.headline) }
                    p class="serial" { a href=(run_path(&done.order.serial, run)) { (name(&done.order.serial)) } }
                    @if brief.simulated.is_some() { p { "Simulated" } }
                }
            },
            Err(why) => div class="result small invalid" {
                (sign(Verdict::Invalid))
                div { p class="headline" { "No result" } p { (visible(why)) } }
            },
        }
    }
}

/// Sign, words, unit.
pub fn banner(serial: &str, plan: &str, brief: &Brief) -> Markup {
    html! {
        section class={ "result " (class(brief.verdict)) } {
            (sign(brief.verdict))
            div {
                h1 { (brief.headline) }
                p class="serial" { (name(serial)) }
                p { (plan) }
                @if let Some(simulated) = brief.simulated { p class="simulated" { (simulated) } }
            }
        }
        p class="statement" { (brief.statement) }
        @if let Some(failure) = brief.failures.first().filter(|failure| failure.was_carried_out) {
            @if !failure.look_first.is_empty() {
                p class="statement" { strong { "Look first at: " } (failure.look_first.join(", ")) }
            }
        }
        @if !brief.reasons.is_empty() {
            section class="card" {
                h2 { "Why the run is invalid" }
                ul { @for reason in &brief.reasons { li { (reason) } } }
            }
        }
    }
}

/// Ways to the sheets and the details.
pub fn ways(serial: &str, run: &str, verdict: Verdict) -> Markup {
    let at = run_path(serial, run);
    let (stem, sheet) = match verdict {
        Verdict::Conforms => ("certificate", "Certificate"),
        _ => ("nonconformity", "Nonconformity sheet"),
    };
    html! {
        nav class="row ways" aria-label="This run" {
            a class="button strong" href={ (at) "/" (stem) ".pdf" } target="_blank" rel="noopener" { (sheet) " to print" }
            a class="button" href={ (at) "/" (stem) ".html" } target="_blank" rel="noopener" { (sheet) }
            a class="button" href=(at) { "Curves" }
            a class="button" href=(super::frame::unit_path(serial)) { "History" }
        }
    }
}

/// What is not proven to conform, and what to look at first; then what was never tried.
pub fn shortcomings(brief: &Brief) -> Markup {
    let (tried, untried): (Vec<_>, Vec<_>) = brief.failures.iter().partition(|failure| failure.was_carried_out);
    let untried: Vec<&str> = untried.iter().map(|failure| failure.check.as_str()).collect();
    html! {
        @if !untried.is_empty() {
            p { strong { "Not carried out: " } (untried.join(", ")) }
        }
        @if !tried.is_empty() {
            section class="card" {
                h2 { "What to look at" }
                @for failure in tried {
                    article class={ "failure " (class(failure.verdict)) } {
                        h3 { (failure.check) " " (decision(failure.verdict)) }
                        @if !failure.look_first.is_empty() {
                            p class="first" { strong { "Look first at: " } (failure.look_first.join(", ")) }
                        }
                        @for point in &failure.points { p { strong { (point.name) } ": " (point.says) } }
                        @for finding in &failure.findings { p { (finding) } }
                    }
                }
            }
        }
    }
}

/// A sign of a shape of its own for each decision, so that it is told from afar and without colour.
fn sign(verdict: Verdict) -> Markup {
    let (shape, mark) = match verdict {
        Verdict::Conforms => ("M50 4a46 46 0 1 0 .01 0z", "M28 52l15 16 30-34"),
        Verdict::DoesNotConform => ("M6 6h88v88h-88z", "M30 30l40 40M70 30l-40 40"),
        Verdict::Undecided => ("M50 2l48 48-48 48-48-48z", "M37 41q0-14 13-14t13 12q0 9-13 15v8M50 74v1"),
        Verdict::Invalid => ("M50 6l47 86h-94z", "M50 36v28M50 77v1"),
    };
    html! {
        svg class="sign" viewBox="0 0 100 100" aria-hidden="true" { path class="shape" d=(shape) {} path class="stroke" d=(mark) {} }
    }
}
