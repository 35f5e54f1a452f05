//! The two steps to begin a run: which unit and plan, then what has to be so before anything moves.

use super::frame::{Page, decision, name, unit_path};
use super::panel::{Fields, around};
use crate::record::history::History;
use crate::report::{self, visible};
use crate::serve::scene::Scene;
use crate::serve::web::Site;
use crate::serve::workshop::{Order, PlanInfo};
use maud::{Markup, html};

/// A plan's name with its revision.
pub fn plan_name(plan: &PlanInfo) -> String {
    visible(&format!("{}, revision {}", plan.name, plan.revision))
}

/// Serial number, plan, operator. A scanner that ends with Enter goes on by itself.
pub fn first_step(
    site: &Site,
    number: usize,
    plans: &[Result<PlanInfo, String>],
    (serial, chosen, operator): Fields<'_>,
    trouble: Option<&str>,
) -> Markup {
    let first = plans.iter().position(Result::is_ok);
    let chosen = chosen.filter(|chosen| plans.get(*chosen).is_some_and(Result::is_ok)).or(first);
    html! {
        section class="card begin" {
            h1 { "Next unit" }
            @if let Some(why) = trouble { p class="trouble" role="alert" id="trouble" { (visible(why)) } }
            form method="get" action={ "/benches/" (number) } {
                div class="field" {
                    label for="serial" { "Serial number" }
                    input id="serial" class="serial" name="serial" value=[serial] required data-scan maxlength="120"
                        autocomplete="off" autocapitalize="characters" spellcheck="false" enterkeyhint="next"
                        aria-invalid=[trouble.map(|_| "true")] aria-describedby={ "serial-how" @if trouble.is_some() { " trouble" } };
                    p class="how" id="serial-how" { "Scan the label, or type it and press Enter." }
                }
                fieldset class="plans" {
                    legend { "Plan" }
                    @for (index, plan) in plans.iter().enumerate() {
                        @match plan {
                            Ok(plan) => label class="choice" {
                                input type="radio" name="plan" value=(index) checked[chosen == Some(index)] required;
                                span { strong { (plan_name(plan)) } span { (course(plan)) } }
                            },
                            Err(why) => p class="trouble" { (visible(why)) },
                        }
                    }
                }
                div class="field" {
                    label for="operator" { "Who is at the bench " span class="how" { "(initials or id; may stay empty)" } }
                    input id="operator" name="operator" value=[operator.or(site.workshop.operator())] maxlength="120"
                        autocomplete="off" spellcheck="false";
                }
                button class="go" { "Continue" }
            }
        }
    }
}

fn course(plan: &PlanInfo) -> String {
    let checks = if plan.checks == 1 { "1 check".into() } else { format!("{} checks", plan.checks) };
    format!("{checks}, about {} of bench time", report::duration(plan.expected_s.round()))
}

/// What has to be so, one by one, and the start.
pub fn confirm(
    site: &Site,
    scene: &Scene,
    order: &Order,
    plan: &PlanInfo,
    before: &Result<History, String>,
    trouble: Option<&str>,
) -> Page {
    let number = order.bench + 1;
    let body = html! {
        section class="card begin" {
            h1 { "Before anything moves" }
            @if let Some(why) = trouble { p class="trouble" role="alert" { (visible(why)) } }
            dl class="facts" {
                div { dt { "Unit" } dd class="serial" { (name(&order.serial)) } }
                div { dt { "Plan" } dd { (plan_name(plan)) ": " (course(plan)) } }
                div { dt { "Earlier runs" } dd { (earlier(before)) } }
            }
            form method="post" action={ "/benches/" (number) "/start" } {
                input type="hidden" name="serial" value=(order.serial);
                input type="hidden" name="plan" value=(order.plan);
                input type="hidden" name="operator" value=[order.operator.as_deref()];
                @if !plan.before.is_empty() {
                    fieldset class="cautions" {
                        legend { "See to each of these, then tick it" }
                        @for item in &plan.before {
                            label class="choice" {
                                input type="checkbox" name="so" value=(item) required;
                                span { (visible(item)) }
                            }
                        }
                    }
                }
                @if !plan.overdue.is_empty() {
                    div class="field trouble" {
                        @for line in &plan.overdue { p { (visible(line)) } }
                        label for="because" { "Reason to run all the same; it stands on every sheet" }
                        input id="because" name="because" required maxlength="200" autocomplete="off";
                    }
                }
                p class="caution" {
                    strong { "Caution. " }
                    "The carriage moves as soon as you start. Keep hands, hair, sleeves and cables clear. For danger use the bench's \
                     emergency stop: a stop on this screen is software, and no safety function."
                }
                div class="row" {
                    button class="go" { "Start" }
                    a class="button" href={ "/benches/" (number) } { "Another unit" }
                }
            }
        }
    };
    around(site, number, scene, &body)
}

fn earlier(before: &Result<History, String>) -> Markup {
    let history = match before {
        Err(why) => return html! { "cannot be told: " (visible(why)) },
        Ok(history) => history,
    };
    let count = history.runs().count();
    html! {
        @match history.runs().next_back() {
            None => "none here",
            Some(last) => {
                a href=(unit_path(&history.serial)) { (count) ", the last" } " " (decision(last.run.decision))
            }
        }
    }
}
