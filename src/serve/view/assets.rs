//! What pages load: style, script, fonts. All of it is inside the binary.

use crate::record::stored::Verdict;
use crate::report::{Weight, look};
use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

/// Kept by browsers until the next version, whose pages ask for another address.
const KEPT: &str = "private, max-age=86400";

/// The address of an asset.
pub fn address(name: &str) -> String {
    format!("/assets/{name}?v={}", env!("CARGO_PKG_VERSION"))
}

/// An asset.
pub async fn asset(Path(name): Path<String>) -> Response {
    let answer =
        |kind: &'static str, body: Vec<u8>| ([(CONTENT_TYPE, kind), (CACHE_CONTROL, KEPT)], body).into_response();
    match name.as_str() {
        "screen.css" => answer("text/css; charset=utf-8", style().into()),
        "screen.js" => answer("text/javascript; charset=utf-8", include_bytes!("../assets/screen.js").to_vec()),
        "regular.otf" => answer("font/otf", Weight::Regular.file().to_vec()),
        "semibold.otf" => answer("font/otf", Weight::SemiBold.file().to_vec()),
        _ => StatusCode::NOT_FOUND.into_response(),
    }
}

/// The style, with the addresses of the fonts as pages ask for them.
fn style() -> String {
    let faces = [("regular.otf", 400), ("semibold.otf", 600)].map(|(file, weight)| {
        let at = address(file);
        format!("@font-face{{font-family:Inter;font-weight:{weight};font-display:swap;src:url({at}) format(\"opentype\")}}\n")
    });
    faces.concat() + &colours() + include_str!("../assets/screen.css")
}

/// The class of what shows a decision.
pub const fn class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Conforms => "conforms",
        Verdict::Undecided => "undecided",
        Verdict::DoesNotConform => "fails",
        Verdict::Invalid => "invalid",
    }
}

/// The colours of the sheets, for the style.
fn colours() -> String {
    let plain = [
        ("paper", look::PAPER),
        ("ink", look::INK),
        ("quiet", look::QUIET),
        ("line", look::LINE),
        ("grid", look::GRID),
        ("wash", look::WASH),
        ("zone", look::ZONE),
    ];
    let plain: String = plain.iter().map(|(name, colour)| format!("--{name}:{colour};")).collect();
    let verdicts = [Verdict::Conforms, Verdict::Undecided, Verdict::DoesNotConform, Verdict::Invalid];
    let verdict = |verdict| {
        let (name, hue, ground) = (class(verdict), look::colour(verdict), look::wash(verdict));
        format!(".{name}{{--hue:{hue};--ground:{ground}}}\n")
    };
    format!(":root{{{plain}}}\n{}", verdicts.map(verdict).concat())
}
