//! Control charts on one page: how the values of a jig's checks moved. They are handed in as numbers, since what keeps a jig
//! is on this floor too.

use super::page::page;
use super::plot::{Plot, individuals};
use super::words::visible_within;
use maud::{PreEscaped, html};

/// One chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Individuals {
    /// What it is of.
    pub name: String,
    /// Unit of all numbers.
    pub unit: String,
    /// The values, oldest first.
    pub values: Vec<f64>,
    /// Lower limit, centre and upper limit, once there are enough values.
    pub limits: Option<(f64, f64, f64)>,
    /// The values that are no chance, counted from 0.
    pub flagged: Vec<usize>,
    /// What is to be said of it.
    pub says: Vec<String>,
}

const STYLE: &str = "body{font-family:sans-serif;color:#17242b;max-width:44rem;margin:2rem auto;padding:0 1rem}\
                     h2{font-size:1rem;margin:2rem 0 .5rem}svg{width:100%;height:auto}p.mark{font-weight:bold}";

/// The page of several charts.
pub fn drift_html(jig: &str, simulated: bool, charts: &[Individuals]) -> String {
    let title = format!("Drift of {}", visible_within(jig, 120));
    let body = html! {
        body {
            h1 { (title) }
            @if simulated { p class="mark" { "SIMULATED: this says nothing of a real jig." } }
            @for chart in charts {
                section {
                    h2 { (visible_within(&chart.name, 200)) }
                    @if let Some(Plot { svg, .. }) = individuals(chart) { (PreEscaped(svg)) }
                    @for said in &chart.says { p { (said) } }
                }
            }
        }
    };
    page(&title, STYLE, &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_shows_every_value_marks_what_is_no_chance_and_escapes_names() {
        let chart = Individuals {
            name: "pack <voltage>".into(),
            unit: "V".into(),
            values: vec![7.40, 7.41, 7.39, 7.48],
            limits: Some((7.37, 7.40, 7.43)),
            flagged: vec![3],
            says: vec!["the last value is beyond the control limits".into()],
        };
        let page = drift_html("bench & co", true, std::slice::from_ref(&chart));
        assert!(page.contains("bench &amp; co") && page.contains("pack &lt;voltage&gt;") && page.contains("SIMULATED"));
        assert_eq!(page.matches("<circle").count(), 4);
        let plain = drift_html("bench", false, &[Individuals { flagged: Vec::new(), ..chart.clone() }]);
        assert_ne!(page.matches("#a12a1e").count(), plain.matches("#a12a1e").count(), "marked by colour");
        assert!(!plain.contains("SIMULATED"));
        let empty = Individuals { values: Vec::new(), limits: None, flagged: Vec::new(), ..chart };
        assert!(!drift_html("bench", false, &[empty]).contains("<svg"));
    }
}
