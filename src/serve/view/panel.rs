//! A bench's panel: whatever goes on there.

use super::frame::{Page, name};
use super::{begin, over, running};
use crate::serve::scene::{Scene, Stage};
use crate::serve::web::Site;
use crate::serve::workshop::PlanInfo;
use maud::{Markup, html};

/// How much of a bench is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// All of it.
    Full,
    /// What there is room for beside others.
    Small,
}

/// What stands in the first step's fields: serial number, plan, operator.
pub type Fields<'a> = (Option<&'a str>, Option<usize>, Option<&'a str>);

/// The id of a bench's panel, and what its parts' ids begin with.
pub fn id(number: usize) -> String {
    format!("b{number}")
}

/// The page of one bench.
pub fn bench(
    site: &Site,
    number: usize,
    scene: &Scene,
    plans: &[Result<PlanInfo, String>],
    fields: Fields<'_>,
    trouble: Option<&str>,
) -> Page {
    let first = || begin::first_step(site, number, plans, fields, trouble);
    let body = match &scene.stage {
        Stage::Free => html! { (first()) },
        Stage::Running(run) => running::running(site, number, scene, run),
        Stage::Over(done) => html! { (over::over(done)) (first()) },
    };
    around(site, number, scene, &body)
}

/// The page of a bench around its panel.
pub fn around(site: &Site, number: usize, scene: &Scene, body: &Markup) -> Page {
    let info = &site.workshop.benches()[number - 1];
    let body = html! {
        div class="bench" id=(id(number)) data-phase=(scene.phase()) {
            p class="where" {
                strong { (name(&info.name)) }
                @if info.jig != info.name { span { "jig " (name(&info.jig)) } }
                @if info.is_simulated { span class="tag" { "simulated" } }
            }
            (body)
        }
    };
    Page { title: title(scene, &info.name), body, live: Some(format!("/live?bench={number}")), is_open: true }
}

fn title(scene: &Scene, bench: &str) -> String {
    let says = match &scene.stage {
        Stage::Free => "Free".to_owned(),
        Stage::Running(run) => format!("{} runs", name(&run.order.serial)),
        Stage::Over(done) => match &done.ended {
            Ok((_, brief)) => format!("{}: {}", name(&done.order.serial), brief.headline),
            Err(_) => "No result".into(),
        },
    };
    format!("{says} · {}", name(bench))
}

/// All benches side by side.
pub fn overview(site: &Site) -> Page {
    let benches = site.workshop.benches().iter().zip(&site.benches).enumerate();
    let body = html! {
        h1 class="unseen" { "Benches" }
        div class="benches" {
            @for (index, (info, bench)) in benches {
                @let scene = bench.scene.borrow().clone();
                @let number = index + 1;
                section class="bench card" id=(id(number)) data-phase=(scene.phase()) aria-labelledby={ (id(number)) "-name" } {
                    h2 class="where" id={ (id(number)) "-name" } {
                        a href={ "/benches/" (number) } { (name(&info.name)) }
                        " " span { "jig " (name(&info.jig)) }
                        @if info.is_simulated { span class="tag" { "simulated" } }
                    }
                    @match &scene.stage {
                        Stage::Free => {
                            p class="free" { "Free" }
                            p { a class="button" href={ "/benches/" (number) } { "Begin a run" } }
                        }
                        Stage::Running(run) => (running::small(site, number, &scene, run)),
                        Stage::Over(done) => {
                            (over::small(done))
                            p { a class="button" href={ "/benches/" (number) } { "Next unit" } }
                        }
                    }
                }
            }
        }
    };
    Page { title: "Benches".into(), body, live: Some("/live".into()), is_open: true }
}
