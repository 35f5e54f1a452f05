//! What each address answers.

use super::bench::Refused;
use super::stored;
use super::view::{self, Page};
use super::web::Site;
use super::workshop::{Order, PlanInfo};
use axum::extract::{Form, Path, Query, State};
use axum::http::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, SET_COOKIE};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Redirect, Response};
use serde::Deserialize;
use std::sync::Arc;
use std::time::Duration;

/// How long somebody waits who showed a wrong token.
const WRONG_TOKEN: Duration = Duration::from_millis(700);
/// Stored sheets bring their own style and fonts, and run nothing.
const SHEET_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:; sandbox";
/// Characters of an operator's name or a reason that are kept.
const WORDS_MAX: usize = 200;

type Web = State<Arc<Site>>;
/// What a form sent, in its order.
type Sent = Form<Vec<(String, String)>>;

/// What the first step of a run has sent.
#[derive(Debug, Default, Deserialize)]
pub struct Chosen {
    #[serde(default)]
    serial: Option<String>,
    #[serde(default)]
    plan: Option<usize>,
    #[serde(default)]
    operator: Option<String>,
}

/// Reads files away from the thread that serves.
async fn read<T: Send + 'static>(site: &Arc<Site>, how: impl FnOnce(&Site) -> T + Send + 'static) -> Option<T> {
    let site = Arc::clone(site);
    tokio::task::spawn_blocking(move || how(&site)).await.ok()
}

fn shown(site: &Site, status: StatusCode, page: &Page) -> Response {
    (status, Html(view::page(site, page))).into_response()
}

fn told(site: &Site, status: StatusCode, title: &str, why: &str) -> Response {
    shown(site, status, &view::notice(title, why))
}

fn broken(site: &Site) -> Response {
    told(site, StatusCode::INTERNAL_SERVER_ERROR, "This page cannot be made", "See the terminal of the server.")
}

fn no_bench(site: &Site) -> Response {
    told(site, StatusCode::NOT_FOUND, "No such bench", "This server has no bench of that number.")
}

/// One bench, or all of them.
pub async fn front(State(site): Web) -> Response {
    if site.benches.len() == 1 {
        return Redirect::to("/benches/1").into_response();
    }
    shown(&site, StatusCode::OK, &view::overview(&site))
}

/// A bench: what runs, how it ended, or the steps to begin.
pub async fn bench(State(site): Web, Path(number): Path<usize>, Query(chosen): Query<Chosen>) -> Response {
    bench_with(&site, number, chosen, None).await
}

/// The same with something to tell.
async fn bench_with(
    site: &Arc<Site>,
    number: usize,
    chosen: Chosen,
    trouble: Option<(StatusCode, String)>,
) -> Response {
    let Some(bench) = site.bench(number).cloned() else { return no_bench(site) };
    let page = read(site, move |site| {
        let plans = site.workshop.plans(number - 1);
        let scene = bench.scene.borrow().clone();
        let mut trouble = trouble;
        let serial = chosen.serial.as_deref().map(str::trim).filter(|serial| !serial.is_empty());
        if let Some(serial) = serial.filter(|_| !scene.is_running()) {
            match (site.workshop.check_serial(serial), chosen.plan.and_then(|plan| plans.get(plan))) {
                (Err(why), _) if trouble.is_none() => trouble = Some((StatusCode::UNPROCESSABLE_ENTITY, why)),
                (Ok(()), Some(Ok(plan))) => {
                    let order = order(number, &chosen, plan);
                    let before = stored::history(site.workshop.results(), serial);
                    let status = trouble.as_ref().map_or(StatusCode::OK, |(status, _)| *status);
                    let trouble = trouble.as_ref().map(|(_, why)| why.as_str());
                    return (status, view::confirm(site, &scene, &order, plan, &before, trouble));
                }
                (Ok(()), Some(Err(why))) if trouble.is_none() => {
                    trouble = Some((StatusCode::UNPROCESSABLE_ENTITY, why.clone()));
                }
                (Ok(()), None) if trouble.is_none() => {
                    trouble = Some((StatusCode::UNPROCESSABLE_ENTITY, "choose a plan".into()));
                }
                _ => {}
            }
        }
        let status = trouble.as_ref().map_or(StatusCode::OK, |(status, _)| *status);
        let why = trouble.as_ref().map(|(_, why)| why.as_str());
        (status, view::bench(site, number, &scene, &plans, (serial, chosen.plan, chosen.operator.as_deref()), why))
    });
    match page.await {
        Some((status, page)) => shown(site, status, &page),
        None => broken(site),
    }
}

fn order(number: usize, chosen: &Chosen, plan: &PlanInfo) -> Order {
    let short = |text: &String| text.trim().chars().take(WORDS_MAX).collect::<String>();
    Order {
        bench: number - 1,
        plan: chosen.plan.unwrap_or_default(),
        serial: chosen.serial.as_deref().unwrap_or_default().trim().to_owned(),
        operator: chosen.operator.as_ref().map(short).filter(|name| !name.is_empty()),
        confirmed: plan.before.clone(),
        overdue_because: None,
    }
}

/// Begins a run.
pub async fn start(State(site): Web, Path(number): Path<usize>, Form(sent): Sent) -> Response {
    let Some(bench) = site.bench(number).cloned() else { return no_bench(&site) };
    let first = |name: &str| sent.iter().find(|(key, _)| key == name).map(|(_, value)| value.trim().to_owned());
    let chosen = Chosen {
        serial: first("serial"),
        plan: first("plan").and_then(|plan| plan.parse().ok()),
        operator: first("operator"),
    };
    let because = first("because").map(|why| why.chars().take(WORDS_MAX).collect::<String>());
    let confirmed: Vec<String> = sent.into_iter().filter(|(key, _)| key == "so").map(|(_, value)| value).collect();
    let prepared = read(&site, {
        let (serial, plan) = (chosen.serial.clone().unwrap_or_default(), chosen.plan);
        move |site| {
            site.workshop.check_serial(&serial)?;
            let plans = site.workshop.plans(number - 1);
            let plan = plan.and_then(|plan| plans.into_iter().nth(plan)).ok_or("choose a plan")??;
            if plan.before.iter().any(|item| !confirmed.contains(item)) {
                return Err("not everything is confirmed; nothing was moved".into());
            }
            Ok::<PlanInfo, String>(plan)
        }
    });
    let plan = match prepared.await {
        None => return broken(&site),
        Some(Err(why)) => {
            return bench_with(&site, number, chosen, Some((StatusCode::UNPROCESSABLE_ENTITY, why))).await;
        }
        Some(Ok(plan)) => plan,
    };
    let order = Order { overdue_because: because.filter(|why| !why.is_empty()), ..order(number, &chosen, &plan) };
    match bench.start(&site.workshop, order, view::plan_name(&plan)) {
        Ok(()) => Redirect::to(&format!("/benches/{number}")).into_response(),
        Err(Refused::Busy) => told(
            &site,
            StatusCode::CONFLICT,
            "This bench is busy",
            "A run goes on here already; it was not disturbed, and no other was begun.",
        ),
        Err(_) => Redirect::to(&format!("/benches/{number}")).into_response(),
    }
}

/// Breaks a run off.
pub async fn stop(State(site): Web, Path(number): Path<usize>) -> Response {
    let Some(bench) = site.bench(number) else { return no_bench(&site) };
    bench.stop();
    Redirect::to(&format!("/benches/{number}")).into_response()
}

/// An answer of the operator.
#[derive(Deserialize)]
pub struct Answer {
    question: u64,
    answer: String,
}

/// Takes an answer of the operator.
pub async fn answer(State(site): Web, Path(number): Path<usize>, Form(sent): Form<Answer>) -> Response {
    let Some(bench) = site.bench(number) else { return no_bench(&site) };
    match bench.answer(sent.question, &sent.answer) {
        Ok(()) => Redirect::to(&format!("/benches/{number}")).into_response(),
        Err(Refused::NoAnswer) => {
            told(&site, StatusCode::UNPROCESSABLE_ENTITY, "That is no answer", "Go back, and answer the question.")
        }
        Err(_) => told(
            &site,
            StatusCode::CONFLICT,
            "This question is not open",
            "It was answered already, or the run is over.",
        ),
    }
}

/// The runs of today.
pub async fn today(State(site): Web) -> Response {
    let now = site.now();
    match read(&site, move |site| stored::day(site.workshop.results(), now)).await {
        Some(Ok(runs)) => shown(&site, StatusCode::OK, &view::today(now, &runs)),
        Some(Err(why)) => told(&site, StatusCode::INTERNAL_SERVER_ERROR, "Today's runs cannot be listed", &why),
        None => broken(&site),
    }
}

/// Which unit is looked for.
#[derive(Deserialize)]
pub struct Looked {
    serial: String,
}

/// Leads to a unit.
pub async fn find_unit(Query(looked): Query<Looked>) -> Response {
    match looked.serial.trim() {
        "" => Redirect::to("/today").into_response(),
        serial => Redirect::to(&view::unit_path(serial)).into_response(),
    }
}

/// What became of a unit.
pub async fn unit(State(site): Web, Path(serial): Path<String>) -> Response {
    match read(&site, move |site| stored::history(site.workshop.results(), &serial)).await {
        Some(Ok(history)) if history.entries.is_empty() => {
            let why = format!("No run of {} is kept here.", crate::report::visible_within(&history.serial, 120));
            told(&site, StatusCode::NOT_FOUND, "Nothing is known of this unit", &why)
        }
        Some(Ok(history)) => shown(&site, StatusCode::OK, &view::unit(&history)),
        Some(Err(why)) => told(&site, StatusCode::NOT_FOUND, "This unit cannot be shown", &why),
        None => broken(&site),
    }
}

/// A run.
pub async fn run(
    State(site): Web,
    Path((serial, run)): Path<(String, String)>,
    Query(closer): Query<view::Closer>,
) -> Response {
    match read(&site, move |site| stored::record(site.workshop.results(), &serial, &run)).await {
        Some(Ok(record)) => shown(&site, StatusCode::OK, &view::run(&record, &closer)),
        Some(Err(why)) => told(&site, StatusCode::NOT_FOUND, "This run cannot be shown", &why),
        None => broken(&site),
    }
}

/// A file of a run.
pub async fn file(State(site): Web, Path((serial, run, name)): Path<(String, String, String)>) -> Response {
    match read(&site, move |site| stored::file(site.workshop.results(), &serial, &run, &name)).await {
        Some(Some((kind, bytes))) => {
            let headers =
                [(CONTENT_TYPE, kind), (CONTENT_SECURITY_POLICY, SHEET_POLICY), (CACHE_CONTROL, "private, no-cache")];
            (headers, bytes).into_response()
        }
        Some(None) => told(&site, StatusCode::NOT_FOUND, "There is no such file", "This run has no file of that name."),
        None => broken(&site),
    }
}

/// Where the token is shown.
pub async fn door(State(site): Web, headers: HeaderMap) -> Response {
    if site.access.knows(&headers) {
        return Redirect::to("/").into_response();
    }
    shown(&site, StatusCode::OK, &view::door(false))
}

/// A token that is shown.
#[derive(Deserialize)]
pub struct Shown {
    token: String,
}

/// Looks at a token.
pub async fn enter(State(site): Web, Form(sent): Form<Shown>) -> Response {
    let Some(token) = &site.access.token else { return Redirect::to("/").into_response() };
    if token.is(&sent.token) {
        return ([(SET_COOKIE, site.access.cookie(token))], Redirect::to("/")).into_response();
    }
    tokio::time::sleep(WRONG_TOKEN).await;
    shown(&site, StatusCode::UNAUTHORIZED, &view::door(true))
}

/// Any other address.
pub async fn nothing_here(State(site): Web) -> Response {
    told(&site, StatusCode::NOT_FOUND, "Nothing is here", "This address leads to no page of the bench screen.")
}
