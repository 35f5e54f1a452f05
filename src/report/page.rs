//! The frame of every HTML page: it needs nothing from elsewhere, and runs nothing, whatever a record holds.

use maud::{DOCTYPE, Markup, PreEscaped, html};

const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:";

/// The style of the pages of studies.
pub const STUDY: &str = "body{font-family:sans-serif;color:#17242b;max-width:60rem;margin:2rem auto;padding:0 1rem}\
    h2{font-size:1rem;margin:2rem 0 .5rem}svg{width:100%;height:auto}p.mark{font-weight:bold}\
    table{border-collapse:collapse;width:100%;margin:1rem 0;font-size:.85rem}th,td{text-align:left;padding:.25rem .6rem .25rem 0;\
    border-bottom:1px solid #c9d2d6;vertical-align:top}td.number{white-space:pre}td.name{min-width:16rem}small{color:#55646c}\
    figure{margin:0 0 1rem}figcaption{font-size:.8rem;color:#55646c}\
    .plots{display:grid;grid-template-columns:repeat(auto-fit,minmax(24rem,1fr));gap:1rem}";

/// A page with its style; `body` is the whole element of that name.
pub fn page(title: &str, style: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (title) }
                style { (PreEscaped(style)) }
            }
            (body)
        }
    }
    .into_string()
}
