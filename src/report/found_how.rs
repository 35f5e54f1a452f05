//! How each study ends: what could not be studied, and the methods by which the rest was found.

use super::text::folded;
use super::words::visible_within;
use crate::study::Refused;
use maud::{Markup, html};

const HEADING: &str = "How this was found";
/// Characters of a name that are shown.
const NAME_MAX: usize = 160;

/// For the terminal, `width` columns wide.
pub fn found_how(refused: &[Refused], methods: &[impl AsRef<str>], width: u16) -> String {
    let refused =
        refused.iter().map(|one| format!("not studied: {}: {}", visible_within(&one.name, NAME_MAX), one.why));
    let methods = methods.iter().map(|method| format!("  {}", method.as_ref()));
    let paragraph = |text: String, indent: &str| folded(&text, indent, width).join("\n") + "\n";
    let refused: String = refused.map(|text| paragraph(text, "  ")).collect();
    let methods: String = methods.map(|text| paragraph(text, "    ")).collect();
    format!("{refused}\n{HEADING}\n{methods}")
}

/// For a page.
pub fn found_how_html(refused: &[Refused], methods: &[impl AsRef<str>]) -> Markup {
    html! {
        @for refused in refused { p { "Not studied: " (visible_within(&refused.name, NAME_MAX)) ": " (refused.why) } }
        h2 { (HEADING) }
        ul { @for method in methods { li { (method.as_ref()) } } }
    }
}
