//! A comparison as a page with plots.

use super::{
    OUTCOMES, counts, difference, mark, means, methods, moved, ordered, places, plots, probability, remark, set,
    verdict,
};
use crate::report::page::{STUDY, page};
use crate::report::study::{found_how_html, opening_html};
use crate::report::words::visible_within;
use crate::study::compare::{Outcome, Study};
use maud::{PreEscaped, html};

/// Motions whose tails are drawn.
const TAILS_MAX: usize = 6;

/// The page.
pub fn compared_html(study: &Study) -> String {
    let [first, second] = [0, 1].map(|place: usize| visible_within(&study.sets[place].name, 120));
    let title = format!("{first} against {second}");
    let moved = moved(study);
    let mut motions: Vec<(&str, &str)> = Vec::new();
    for row in &moved {
        let motion = (row.quantity.check.as_str(), row.quantity.reading.as_str());
        if !motions.contains(&motion) {
            motions.push(motion);
        }
    }
    let body = html! {
        body {
            h1 { (title) }
            (opening_html(&verdict(study), study.sets.iter().any(|set| set.simulated)))
            p { (first) ": " (set(&study.sets[0])) "; " (second) ": " (set(&study.sets[1])) "." }
            p { (counts(&study.compared)) "." }
            @for outcome in [Outcome::Worse, Outcome::CannotTell] {
                @if let Some(told) = places(&study.compared, outcome) { p { (told) "." } }
            }
            @for told in &study.told { p { (told) } }
            @if let Some(svg) = plots::margins(study) {
                h2 { "Differences against their margins" }
                (PreEscaped(svg))
            }
            @if !motions.is_empty() {
                h2 { "Where step intervals moved" }
                div class="plots" {
                    @for motion in motions.iter().take(TAILS_MAX) {
                        @if let Some(plot) = plots::tail(study, *motion) {
                            figure { (PreEscaped(plot.svg)) figcaption { (visible_within(&format!("{}: {}", motion.0, motion.1), 160)) ". " (plot.description) } }
                        }
                    }
                }
                table {
                    thead { tr { th { "quantile" } th { "motion" } th { "from → to" } th { "difference" } th { "P, false" } } }
                    tbody {
                        @for row in &moved {
                            tr {
                                td { (row.quantity.measurand.trim_start_matches("step interval ")) }
                                td { (visible_within(&format!("{}: {}", row.quantity.check, row.quantity.reading), 160)) }
                                td class="number" { (means(row)) }
                                td class="number" { (difference(row)) }
                                td class="number" { (row.false_discovery.map(probability).unwrap_or_default()) }
                            }
                        }
                    }
                }
            }
            h2 { "All quantities" }
            table {
                thead { tr { th { "outcome" } th { "quantity" } th { "from → to" } th { "difference" } th { "P, Holm" } } }
                tbody {
                    @for row in OUTCOMES.into_iter().flat_map(|outcome| ordered(&study.compared, outcome)) {
                        tr {
                            td { (mark(row.outcome)) " " (row.outcome.words()) }
                            td { (visible_within(&row.quantity.name(), 200)) @if let Some(remark) = remark(row) { br; small { (remark) } } }
                            td class="number" { (means(row)) }
                            td class="number" { (difference(row)) }
                            td class="number" { (row.holm.map(probability).unwrap_or_default()) }
                        }
                    }
                    @for refused in &study.compared.refused {
                        tr { td { "! not compared" } td colspan="4" { (visible_within(&refused.name, 200)) ": " (refused.why) } }
                    }
                }
            }
            (found_how_html(&[], &methods(study)))
        }
    };
    page(&title, STUDY, &body)
}
