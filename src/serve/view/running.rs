//! A run that goes on: which check and move, the carriage on its rail, the readings, the list of checks, the stop.

use super::assets::class;
use super::frame::name;
use super::panel::{Size, id};
use crate::event::Live;
use crate::record::stored::Verdict;
use crate::report::look;
use crate::serve::scene::{Asked, Running, Scene, Stage};
use crate::serve::web::Site;
use maud::{Markup, html};

/// The rail's drawing, in units of its own: the carriage goes from its left end to its right end.
const RAIL: (f64, f64) = (60.0, 940.0);
/// What is shown where there is no reading.
const NONE: &str = "–";

/// The whole panel.
pub fn running(site: &Site, number: usize, scene: &Scene, run: &Running) -> Markup {
    let id = id(number);
    html! {
        div class="run" {
            section class="card going" {
                h1 class="serial" tabindex="-1" { (name(&run.order.serial)) }
                p class="plan" { (run.plan) }
                div id={ (id) "-now" } { (now(run)) }
                div id={ (id) "-ask" } { (ask(number, run)) }
                (rail(&id, scene, site.workshop.travel()))
                (readings(&id, scene))
            }
            section class="card list" aria-labelledby={ (id) "-list" } {
                h2 id={ (id) "-list" } { "Checks" }
                div id={ (id) "-checks" } { (checks(run)) }
            }
            (stop(number, run))
        }
    }
}

/// What there is room for beside other benches.
pub fn small(site: &Site, number: usize, scene: &Scene, run: &Running) -> Markup {
    let id = id(number);
    html! {
        p class="serial" { (name(&run.order.serial)) }
        p class="plan" { (run.plan) }
        div id={ (id) "-now" } { (now(run)) }
        div id={ (id) "-ask" } { (waits(number, run)) }
        (rail(&id, scene, site.workshop.travel()))
        (readings(&id, scene))
    }
}

/// The pieces of a panel that change while a run goes on.
pub fn parts(scene: &Scene, number: usize, size: Size) -> Vec<(&'static str, Markup)> {
    let Stage::Running(run) = &scene.stage else { return Vec::new() };
    match size {
        Size::Full => {
            vec![("now", now(run)), ("ask", ask(number, run)), ("checks", checks(run)), ("stop", stopping(run))]
        }
        Size::Small => vec![("now", now(run)), ("ask", waits(number, run))],
    }
}

/// The readings as text, by the names of their places.
pub fn live(scene: &Scene) -> impl Iterator<Item = (&'static str, String)> {
    let live = scene.live;
    let of = |reading: Option<String>| reading.unwrap_or_else(|| NONE.into());
    let value = move |what: fn(&Live) -> Option<String>| of(live.as_ref().and_then(what));
    [
        ("left", value(|live| Some(minutes(live.left_s)))),
        ("position", value(|live| live.position.map(|metres| format!("{:.1} mm", metres * 1000.0)))),
        ("rate", value(|live| live.step_rate.map(|rate| format!("{rate:.0} /s")))),
        ("pack", value(|live| live.pack_voltage.map(|volts| format!("{volts:.2} V")))),
    ]
    .into_iter()
}

/// Where the carriage is drawn; nothing while it is not known.
pub fn carriage(scene: &Scene, travel: f64) -> Option<f64> {
    let position = scene.live?.position?;
    let share = if travel > 0.0 { (position / travel).clamp(-0.05, 1.05) } else { 0.0 };
    share.is_finite().then(|| ((RAIL.0 + share * (RAIL.1 - RAIL.0)) * 10.0).round() / 10.0)
}

fn now(run: &Running) -> Markup {
    let name = run.current.and_then(|check| run.checks.get(check)).map(|line| line.name.as_str());
    let place = run.current.map(|check| format!("Check {} of {}", check + 1, run.checks.len()));
    html! {
        p class="which" {
            @if let Some(place) = place { (place) } @else if run.is_closing { "Done" } @else { "Getting ready" }
            @if let Some(round) = run.round { ", round " (round) }
        }
        @if let Some(name) = name { p class="check" { (name) } }
        @if run.question.is_none() { p class="move" { (run.doing) } }
    }
}

/// The open question with its answers. Keys y and n answer while the focus is in it.
fn ask(number: usize, run: &Running) -> Markup {
    let Some(Asked { number: question, text, is_yes_or_no }) = &run.question else { return html! {} };
    let at = format!("/benches/{number}/answer");
    html! {
        section class="ask" aria-labelledby="question" {
            h2 id="question" tabindex="-1" { (text) }
            @if *is_yes_or_no {
                form class="row" method="post" action=(at) data-quiet {
                    input type="hidden" name="question" value=(question);
                    button class="answer" name="answer" value="yes" data-key="y" { "Yes" kbd aria-hidden="true" { "Y" } }
                    button class="answer" name="answer" value="no" data-key="n" { "No" kbd aria-hidden="true" { "N" } }
                }
            } @else {
                form class="row" method="post" action=(at) data-quiet {
                    input type="hidden" name="question" value=(question);
                    label class="unseen" for="said-answer" { "Answer" }
                    input id="said-answer" name="answer" required maxlength="200" autocomplete="off" spellcheck="false";
                    button class="answer" { "Answer" }
                }
            }
        }
    }
}

/// That a question is open at another bench's own page.
fn waits(number: usize, run: &Running) -> Markup {
    html! {
        @if let Some(asked) = &run.question {
            p class="ask" { a href={ "/benches/" (number) } { "Asks: " (asked.text) } }
        }
    }
}

fn rail(id: &str, scene: &Scene, travel: f64) -> Markup {
    let at = carriage(scene, travel);
    let marks = (0..=10).map(|tenth| RAIL.0 + f64::from(tenth) * (RAIL.1 - RAIL.0) / 10.0);
    let ends = [(RAIL.0, "middle", "0".to_owned()), (980.0, "end", format!("{:.0} mm", travel * 1000.0))];
    html! {
        svg class="rail" viewBox="0 0 1000 150" role="img" aria-label="The carriage on its rail, drawn as it moves" {
            @for x in marks { line class="mark" x1=(x) x2=(x) y1="98" y2="108" {} }
            rect class="bar" x="20" y="78" width="960" height="14" rx="2" {}
            rect class="stop" x="22" y="58" width="14" height="40" {}
            rect class="stop" x="964" y="58" width="14" height="40" {}
            @for (x, anchor, label) in ends { text class="end" x=(x) y="136" text-anchor=(anchor) { (label) } }
            g class="carriage" id={ (id) "-carriage" } transform=[at.map(|at| format!("translate({at} 0)"))] hidden[at.is_none()] {
                rect x="-24" y="32" width="48" height="46" rx="4" {}
                path d="M0 78l-9 14h18z" {}
            }
        }
    }
}

fn readings(id: &str, scene: &Scene) -> Markup {
    let names = [("left", "Time left"), ("position", "Carriage"), ("rate", "Steps"), ("pack", "Pack")];
    let values: Vec<_> = live(scene).collect();
    let value = |name: &str| values.iter().find(|(known, _)| *known == name).map_or(NONE, |(_, value)| value.as_str());
    html! {
        dl class="readings" {
            @for (name, title) in names { div { dt { (title) } dd id={ (id) "-" (name) } { (value(name)) } } }
        }
    }
}

fn checks(run: &Running) -> Markup {
    html! {
        ol {
            @for (index, line) in run.checks.iter().enumerate() {
                @let goes_on = run.current == Some(index) && line.verdict.is_none();
                li class=[line.verdict.map(class)] aria-current=[goes_on.then_some("step")] {
                    span class="sign" aria-hidden="true" { (sign(line.verdict, goes_on)) }
                    span { (line.name) }
                    @if let Some(verdict) = line.verdict {
                        span class={ @if verdict == Verdict::Conforms { "unseen" } @else { "words" } } { (look::words(verdict)) }
                    }
                }
            }
        }
    }
}

fn sign(verdict: Option<Verdict>, goes_on: bool) -> &'static str {
    match verdict {
        Some(verdict) => look::mark(verdict),
        None if goes_on => "▸",
        None => "·",
    }
}

fn stop(number: usize, run: &Running) -> Markup {
    html! {
        form class="stop" method="post" action={ "/benches/" (number) "/stop" } data-quiet {
            button id={ (id(number)) "-stop" } data-escape { (stopping(run)) }
            p { strong { "No emergency stop. " } "This stops the run by software; for danger use the bench's emergency stop." }
        }
    }
}

fn stopping(run: &Running) -> Markup {
    html! { @if run.is_stopping { "Stopping…" } @else { "Stop the run" kbd aria-hidden="true" { "Esc" } } }
}

/// Seconds as a clock shows them: `3:05`.
fn minutes(seconds: f64) -> String {
    let whole = if seconds.is_finite() { seconds.max(0.0).round() as u64 } else { 0 };
    format!("{}:{:02}", whole / 60, whole % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(position: Option<f64>) -> Scene {
        let live = Live { elapsed_s: 1.0, left_s: 184.6, position, step_rate: Some(7199.6), pack_voltage: Some(7.625) };
        Scene { live: Some(live), ..Scene::default() }
    }

    #[test]
    fn readings_are_text_and_what_is_not_known_is_a_dash() {
        let texts = |scene: &Scene| live(scene).map(|(_, text)| text).collect::<Vec<_>>();
        assert_eq!(texts(&at(Some(0.3124))), ["3:05", "312.4 mm", "7200 /s", "7.62 V"]);
        assert_eq!(texts(&at(None))[1], NONE);
        assert_eq!(texts(&Scene::default()), [NONE; 4]);
    }

    #[test]
    fn the_carriage_stays_on_the_drawing() {
        assert_eq!(carriage(&at(Some(0.28)), 0.56), Some(500.0));
        assert_eq!(carriage(&at(Some(0.0)), 0.56), Some(60.0));
        assert_eq!(carriage(&at(Some(40.0)), 0.56), Some(984.0));
        assert_eq!(carriage(&at(Some(f64::NAN)), 0.56), None);
        assert_eq!(carriage(&at(Some(0.1)), 0.0), Some(60.0));
        assert_eq!(carriage(&at(None), 0.56), None);
    }
}
