//! The server: connections, routes, and what every answer carries.

use super::bench::Bench;
use super::guard::Access;
use super::workshop::Workshop;
use super::{pages, view};
use crate::clock::{Clock, ComputerClock, WallTime};
use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HeaderName, LOCATION, REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
    X_FRAME_OPTIONS,
};
use axum::http::{HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::io;
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use tokio::sync::{Semaphore, watch};

/// Connections at once: some tablets with some pages each.
const CONNECTIONS: usize = 128;
/// Pages at once that are kept up to date.
pub const VIEWERS: usize = 48;
/// A connection that has not sent its request's head by then is closed.
const HEAD_WITHIN: Duration = Duration::from_secs(20);
/// No form of ours is longer, bytes.
const FORM_MAX: usize = 64 * 1024;
/// How often the end is looked for.
const LOOK: Duration = Duration::from_millis(50);
/// What pages may load and do: what comes from here, nothing in their own text.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; img-src 'self' data:; \
    connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// How the screen is served.
pub struct Settings {
    /// Who may use it.
    pub access: Access,
}

/// All that a page may need.
pub struct Site {
    pub workshop: Arc<dyn Workshop>,
    pub benches: Vec<Arc<Bench>>,
    pub access: Access,
    /// Tells pages that were made by another start of the server.
    pub boot: String,
    pub viewers: Arc<Semaphore>,
    /// Becomes true when the server ends.
    pub ending: watch::Receiver<bool>,
    clock: ComputerClock,
}

impl Site {
    /// The present calendar time.
    pub fn now(&self) -> WallTime {
        self.clock.wall()
    }

    /// A bench by the number that addresses have, which begins with 1.
    pub fn bench(&self, number: usize) -> Option<&Arc<Bench>> {
        self.benches.get(number.checked_sub(1)?)
    }
}

/// Serves the screen until `stop` is set; then stops what runs and waits until the benches are safe.
///
/// # Errors
/// What the system says of the socket.
pub fn serve(
    listener: TcpListener,
    workshop: Arc<dyn Workshop>,
    settings: Settings,
    stop: &AtomicBool,
) -> io::Result<()> {
    listener.set_nonblocking(true)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().max_blocking_threads(4).build()?;
    let benches: Vec<_> = workshop.benches().iter().map(|_| Arc::new(Bench::new())).collect();
    let (end, ending) = watch::channel(false);
    let site = Arc::new(Site {
        workshop,
        benches: benches.clone(),
        access: settings.access,
        boot: uuid::Uuid::now_v7().to_string(),
        viewers: Arc::new(Semaphore::new(VIEWERS)),
        ending,
        clock: ComputerClock::new(),
    });
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::from_std(listener)?;
        let accepting = tokio::spawn(accept(listener, router(site)));
        while !stop.load(Ordering::Relaxed) {
            tokio::time::sleep(LOOK).await;
        }
        accepting.abort();
        benches.iter().for_each(|bench| bench.stop());
        // Pages see how it ends.
        while benches.iter().any(|bench| bench.scene.borrow().is_running()) {
            tokio::time::sleep(LOOK).await;
        }
        end.send_replace(true);
        io::Result::Ok(())
    })?;
    benches.iter().for_each(|bench| bench.rest());
    runtime.shutdown_timeout(Duration::from_secs(1));
    Ok(())
}

async fn accept(listener: tokio::net::TcpListener, router: Router) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    loop {
        let Ok(place) = Arc::clone(&places).acquire_owned().await else { return };
        let Ok((stream, _)) = listener.accept().await else {
            // Out of files, or a visitor who left at once.
            tokio::time::sleep(LOOK).await;
            continue;
        };
        // What is sent is small and wanted at once.
        let _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let mut http = http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(HEAD_WITHIN).max_buf_size(FORM_MAX);
            // A visitor who leaves in the middle is none of our troubles.
            let _ = http.serve_connection(TokioIo::new(stream), service).await;
            drop(place);
        });
    }
}

fn router(site: Arc<Site>) -> Router {
    let guarded = Router::new()
        .route("/", get(pages::front))
        .route("/live", get(super::stream::live))
        .route("/benches/{bench}", get(pages::bench))
        .route("/benches/{bench}/start", post(pages::start))
        .route("/benches/{bench}/stop", post(pages::stop))
        .route("/benches/{bench}/answer", post(pages::answer))
        .route("/today", get(pages::today))
        .route("/units", get(pages::find_unit))
        .route("/units/{serial}", get(pages::unit))
        .route("/units/{serial}/{run}", get(pages::run))
        .route("/units/{serial}/{run}/{file}", get(pages::file))
        .fallback(pages::nothing_here)
        .layer(from_fn_with_state(Arc::clone(&site), known));
    Router::new()
        .route("/enter", get(pages::door).post(pages::enter))
        .route("/assets/{file}", get(view::assets::asset))
        .merge(guarded)
        .layer(from_fn_with_state(Arc::clone(&site), proper))
        .layer(DefaultBodyLimit::max(FORM_MAX))
        .with_state(site)
}

/// Lets those in who have shown the token, and shows the door to the others.
async fn known(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    if site.access.knows(request.headers()) {
        next.run(request).await
    } else if request.method() == axum::http::Method::GET && request.uri().path() != "/live" {
        (StatusCode::SEE_OTHER, [(LOCATION, "/enter")]).into_response()
    } else {
        (StatusCode::UNAUTHORIZED, "Show the token first, at /enter.\n").into_response()
    }
}

/// Turns away what no page of ours sent, and adds what every answer carries.
async fn proper(State(site): State<Arc<Site>>, request: Request, next: Next) -> Response {
    let mut response = match site.access.refuses(request.method(), request.headers()) {
        Some((status, why)) => (status, format!("{why}\n")).into_response(),
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    let mut add = |name: HeaderName, value: &'static str| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    add(CONTENT_SECURITY_POLICY, POLICY);
    add(X_CONTENT_TYPE_OPTIONS, "nosniff");
    add(X_FRAME_OPTIONS, "DENY");
    add(REFERRER_POLICY, "same-origin");
    add(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    add(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    add(CACHE_CONTROL, "no-store");
    response
}
