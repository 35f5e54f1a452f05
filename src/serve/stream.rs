//! What open pages are sent: how the benches stand, whole at first and whenever something changed.
//!
//! A page that is slower than the bench is sent the newest state and misses what was between.

use super::scene::Scene;
use super::view::{self, Size};
use super::web::Site;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use futures_util::future::{select, select_all};
use futures_util::stream::unfold;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{OwnedSemaphorePermit, watch};

/// The least time between two states, so that 20 a second pass.
const FRAME: Duration = Duration::from_millis(30);
/// How often a page hears that the connection stands, though nothing happens.
const BEAT: Duration = Duration::from_secs(5);
/// How soon a page tries again that lost its connection.
const RETRY: Duration = Duration::from_secs(1);

/// What to show.
#[derive(Deserialize)]
pub struct Wanted {
    /// One bench in full; all of them in small where none is named.
    bench: Option<usize>,
}

/// The stream of one page.
pub async fn live(State(site): State<Arc<Site>>, Query(wanted): Query<Wanted>) -> Response {
    let Ok(place) = Arc::clone(&site.viewers).try_acquire_owned() else {
        return (StatusCode::SERVICE_UNAVAILABLE, "Too many pages are open; close some.\n").into_response();
    };
    let (numbers, size) = match wanted.bench {
        Some(number) if site.bench(number).is_some() => (vec![number], Size::Full),
        Some(_) => return StatusCode::NOT_FOUND.into_response(),
        None => ((1..=site.benches.len()).collect(), Size::Small),
    };
    let seen = |number: &usize| Some((*number, site.bench(*number)?.scene.subscribe(), None));
    let seen = numbers.iter().filter_map(seen).collect();
    let ending = site.ending.clone();
    let viewer = Viewer { site, size, seen, ending, is_new: true, _place: place };
    let beat = KeepAlive::new().interval(BEAT).event(Event::default().event("beat").data("-"));
    Sse::new(unfold(viewer, next)).keep_alive(beat).into_response()
}

struct Viewer {
    site: Arc<Site>,
    size: Size,
    /// Each bench by its number, with the version of its scene that was sent.
    seen: Vec<(usize, watch::Receiver<Scene>, Option<u64>)>,
    ending: watch::Receiver<bool>,
    is_new: bool,
    _place: OwnedSemaphorePermit,
}

async fn next(mut viewer: Viewer) -> Option<(Result<Event, Infallible>, Viewer)> {
    let mut event = Event::default().event("screen");
    if viewer.is_new {
        event = event.retry(RETRY);
        viewer.is_new = false;
    } else {
        let changes = viewer.seen.iter_mut().map(|(_, scene, _)| Box::pin(scene.changed()));
        let end = Box::pin(viewer.ending.changed());
        if matches!(select(select_all(changes), end).await, futures_util::future::Either::Right(_)) {
            return None;
        }
        tokio::time::sleep(FRAME).await;
    }
    let data = viewer.look();
    Some((Ok(event.data(data.to_string())), viewer))
}

impl Viewer {
    fn look(&mut self) -> Value {
        let (site, size) = (&self.site, self.size);
        let benches = self.seen.iter_mut().map(|(number, scene, sent)| {
            let scene = scene.borrow_and_update();
            let id = view::id(*number);
            let text = |(name, text): (&str, String)| (format!("{id}-{name}"), Value::from(text));
            let mut told = json!({
                "id": id,
                "phase": scene.phase(),
                "text": Map::from_iter(view::live(&scene).map(text)),
                "carriage": view::carriage(&scene, site.workshop.travel()),
            });
            if *sent != Some(scene.version) {
                let html =
                    |(name, html): (&str, maud::Markup)| (format!("{id}-{name}"), Value::from(html.into_string()));
                told["html"] = Value::Object(view::parts(&scene, *number, size).into_iter().map(html).collect());
                told["said"] = json!(scene.said);
                *sent = Some(scene.version);
            }
            told
        });
        let benches: Vec<Value> = benches.collect();
        json!({ "boot": site.boot, "benches": benches })
    }
}
