//! Runs that are kept: today's list with its yield, a unit's history, a run with its curves.

use super::frame::{Page, decision, name, run_path, unit_path};
use super::over;
use crate::record::Record;
use crate::record::history::{Entry, History};
use crate::record::index::Known;
use crate::record::stored::Verdict;
use crate::report::{self, Plot, Stretch, visible};
use maud::{Markup, PreEscaped, html};
use serde::Deserialize;
use std::collections::BTreeMap;
use time::OffsetDateTime;

/// Today's runs, the newest first, and what they came to.
pub fn today(now: OffsetDateTime, runs: &[Known]) -> Page {
    let day = report::moment(now);
    let day = day.split(' ').next().unwrap_or_default();
    let yields = [(false, "Units tested today"), (true, "Simulated units")].map(|(is_simulated, title)| {
        let of_kind: Vec<&Known> = runs.iter().filter(|run| run.is_simulated == is_simulated).collect();
        (title, Yield::of(&of_kind))
    });
    let body = html! {
        section class="card" {
            h1 { "Today" span class="how" { " " (day) " UTC" } }
            @if runs.is_empty() { p { "No run was begun today." } }
            @for (title, counted) in &yields {
                @if counted.units > 0 || counted.invalid > 0 {
                    dl class="readings" aria-label=(title) {
                        div { dt { (title) } dd { (counted.units) } }
                        div { dt { "Conform at first" } dd { (counted.first) } }
                        div { dt { "Conform by now" } dd { (counted.by_now) } }
                        div { dt { "First-pass yield" } dd { (share(counted.first, counted.units)) } }
                        div { dt { "Invalid runs" } dd { (counted.invalid) } }
                    }
                }
            }
            @if !runs.is_empty() {
                p class="how" {
                    "A unit counts once, by its first run today that proved anything; simulated runs count for themselves."
                }
                (table(runs.iter().rev()))
            }
        }
    };
    Page { title: "Today".into(), body, live: None, is_open: true }
}

/// What the units of a day came to. Invalid runs prove nothing of a unit.
#[derive(Debug, Default, PartialEq, Eq)]
struct Yield {
    units: usize,
    /// Of them, those whose first run conforms.
    first: usize,
    /// Those whose last run conforms.
    by_now: usize,
    invalid: usize,
}

impl Yield {
    /// Of runs, oldest first.
    fn of(runs: &[&Known]) -> Self {
        let mut units = BTreeMap::<&str, (Verdict, Verdict)>::new();
        let (invalid, valid): (Vec<&Known>, Vec<&Known>) =
            runs.iter().partition(|run| run.decision == Verdict::Invalid);
        for run in valid {
            units.entry(&run.serial).or_insert((run.decision, run.decision)).1 = run.decision;
        }
        let count = |which: fn(&(Verdict, Verdict)) -> Verdict| {
            units.values().filter(|unit| which(unit) == Verdict::Conforms).count()
        };
        Self { units: units.len(), first: count(|unit| unit.0), by_now: count(|unit| unit.1), invalid: invalid.len() }
    }
}

fn share(part: usize, whole: usize) -> String {
    if whole == 0 { "–".into() } else { format!("{:.0} %", 100.0 * part as f64 / whole as f64) }
}

fn table<'a>(runs: impl Iterator<Item = &'a Known>) -> Markup {
    html! {
        div class="wide" tabindex="0" role="region" aria-label="Runs" {
            table {
                thead { tr { @for head in ["Began (UTC)", "Unit", "Decision", "Plan", "Bench", "Run"] { th scope="col" { (head) } } } }
                tbody {
                    @for run in runs {
                        tr {
                            td { (report::moment(run.started)) }
                            th scope="row" { a href=(unit_path(&run.serial)) { (name(&run.serial)) } }
                            td { (decision(run.decision)) @if run.is_simulated { " " span class="tag" { "simulated" } } }
                            td { (visible(&format!("{}, revision {}", run.plan, run.revision))) }
                            td { (name(&run.jig)) }
                            td { a href=(run_path(&run.serial, &run.id)) aria-label={ "Show run of " (name(&run.serial)) ", " (report::moment(run.started)) } { "Show" } }
                        }
                    }
                }
            }
        }
    }
}

/// A plot, or a part of it, with ways to see it closer.
fn figure(index: usize, whole: &Plot, part: Option<&Plot>, stretch: Stretch) -> Markup {
    let id = format!("plot-{index}");
    let at = |stretch: Stretch| format!("?plot={index}&from={:.5}&to={:.5}#{id}", stretch.from, stretch.to);
    let is_whole = stretch == Stretch::WHOLE;
    html! {
        figure class="plot" id=(id) {
            @match part {
                Some(part) => (PreEscaped(&part.svg)),
                None => p { "Nothing was recorded in this stretch." },
            }
            figcaption { (whole.description) }
            nav class="row tools" aria-label=(whole.title) {
                a class="button" href=(at(stretch.wider(0.5))) { "Closer" }
                @if !is_whole {
                    a class="button" href=(at(stretch.further(-0.5))) { "← Left" }
                    a class="button" href=(at(stretch.further(0.5))) { "Right →" }
                    a class="button" href=(at(stretch.wider(2.0))) { "Wider" }
                    a class="button" href=(at(Stretch::WHOLE)) { "Whole" }
                }
            }
        }
    }
}

/// What became of a unit.
pub fn unit(history: &History) -> Page {
    let serial = name(&history.serial);
    let built: Vec<String> =
        history.as_built.iter().map(|built| visible(&format!("{} {}", built.part.name, built.part.lot))).collect();
    let body = html! {
        section class="card" {
            h1 class="serial" { (serial) }
            p { (report::standing(&history.standing)) @if !built.is_empty() { "; as built: " (built.join(", ")) } }
            ol class="entries" reversed {
                @for entry in history.entries.iter().rev() {
                    li {
                        @match entry {
                            Entry::Run(passed) => {
                                p { (decision(passed.run.decision)) " " (report::moment(passed.run.started)) " UTC" }
                                p { a href=(run_path(&passed.run.serial, &passed.run.id)) { (report::told(entry)) } }
                            }
                            Entry::Event(_) => p { (report::told(entry)) },
                        }
                    }
                }
            }
        }
    };
    Page { title: serial, body, live: None, is_open: true }
}

/// Which plot of a run is shown closer, and what stretch of it.
#[derive(Debug, Default, Deserialize)]
pub struct Closer {
    plot: Option<usize>,
    #[serde(default)]
    from: f64,
    #[serde(default)]
    to: f64,
}

/// A run: its result, its shortcomings, its curves.
pub fn run(record: &Record, closer: &Closer) -> Page {
    let brief = report::brief(record);
    let plan = visible(&format!("{}, revision {}", record.plan.name, record.plan.revision));
    let at = run_path(&record.unit.serial, &record.run.id);
    let body = html! {
        (over::banner(&record.unit.serial, &plan, &brief))
        (over::ways(&record.unit.serial, &record.run.id, record.decision))
        (over::shortcomings(&brief))
        section class="card" {
            h2 { "Curves" }
            div class="plots" {
                @for (index, plot) in report::plots(record).iter().enumerate() {
                    @let shown = closer.plot == Some(index);
                    @let stretch = if shown { Stretch::new(closer.from, closer.to) } else { Stretch::WHOLE };
                    @let part = report::plots_of(record, stretch).into_iter().find(|part| part.title == plot.title);
                    (figure(index, plot, part.as_ref(), stretch))
                }
            }
        }
        p class="how" {
            "Run " (visible(&record.run.id)) " · " a href={ (at) "/record.json" } { "record.json" } " · "
            a href={ (at) "/junit.xml" } { "junit.xml" }
        }
    };
    Page { title: format!("{}: {}", name(&record.unit.serial), brief.headline), body, live: None, is_open: true }
}
