//! How each study begins, and how it ends: what could not be studied, and the methods by which the rest was found.

use super::text::{folded, styled};
use super::words::visible_within;
use crate::study::Refused;
use anstyle::Style;
use maud::{Markup, html};

const SIMULATED: &str = "SIMULATED RUNS: no unit was tested; this proves nothing of a real one.";
const HEADING: &str = "How this was found";
/// Characters of a name that are shown.
const NAME_MAX: usize = 160;

/// What was found in a sentence, for the terminal, `width` columns wide.
pub fn opening(verdict: &str, simulated: bool, width: u16) -> String {
    let verdict = styled(&folded(verdict, "", width).join("\n"), Style::new().bold());
    format!("{verdict}\n{}", if simulated { format!("{SIMULATED}\n") } else { String::new() })
}

/// The same for a page.
pub fn opening_html(verdict: &str, simulated: bool) -> Markup {
    html! {
        p class="mark" { (verdict) }
        @if simulated { p class="mark" { (SIMULATED) } }
    }
}

/// How it was found, for the terminal, `width` columns wide.
pub fn found_how(refused: &[Refused], methods: &[impl AsRef<str>], width: u16) -> String {
    let refused =
        refused.iter().map(|one| format!("not studied: {}: {}", visible_within(&one.name, NAME_MAX), one.why));
    let methods = methods.iter().map(|method| format!("  {}", method.as_ref()));
    let paragraph = |text: String, indent: &str| folded(&text, indent, width).join("\n") + "\n";
    let refused: String = refused.map(|text| paragraph(text, "  ")).collect();
    let methods: String = methods.map(|text| paragraph(text, "    ")).collect();
    format!("{refused}\n{HEADING}\n{methods}")
}

/// The same for a page.
pub fn found_how_html(refused: &[Refused], methods: &[impl AsRef<str>]) -> Markup {
    html! {
        @for refused in refused { p { "Not studied: " (visible_within(&refused.name, NAME_MAX)) ": " (refused.why) } }
        h2 { (HEADING) }
        ul { @for method in methods { li { (method.as_ref()) } } }
    }
}
