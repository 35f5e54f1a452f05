//! The frame of every HTML page: it needs nothing from elsewhere, and runs nothing, whatever a record holds.

use maud::{DOCTYPE, Markup, PreEscaped, html};

const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:";

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
