//! What the pages look like, before they are printed.

use super::flow::{Flow, Ink, LEFT, PAGE, RIGHT};
use super::setting;
use crate::record::Record;
use crate::report::face;
use crate::report::sheet::content;

const CONFORMS: &str = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/records/conforms-1.json"));
const FAILS: &str = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/records/does-not-conform-1.json"));

fn record(text: &str) -> Record {
    serde_json::from_str(text).expect("a kept record")
}

fn pages(record: &Record) -> Flow {
    setting::set(&content::sheet(record, &"0".repeat(64)))
}

fn texts(flow: &Flow, page: usize) -> Vec<&str> {
    let texts = flow.pages[page].iter().filter_map(|piece| match &piece.ink {
        Ink::Text { text, .. } => Some(text.as_str()),
        _ => None,
    });
    texts.collect()
}

/// Everything lies on the paper, and text within the margins.
fn assert_within(flow: &Flow) {
    for piece in flow.pages.iter().flatten() {
        match &piece.ink {
            Ink::Text { at, text, kind } => {
                let end = at.0 + face::width(text, kind.weight, kind.size);
                assert!(at.0 >= LEFT - 0.01 && end <= RIGHT + 0.01, "{text} ends at {end}");
                assert!(at.1 > 10.0 && at.1 < PAGE.1 - 20.0, "{text} at {}", at.1);
                assert_eq!(face::drawable(text), *text);
            }
            Ink::Box { frame, .. } | Ink::Drawing { frame, .. } => {
                assert!(frame.0 >= 0.0 && frame.0 + frame.2 <= PAGE.0 + 0.01, "{frame:?}");
                assert!(frame.1 >= 0.0 && frame.1 + frame.3 <= PAGE.1 - 30.0, "{frame:?}");
            }
        }
    }
}

#[test]
fn a_simulated_run_is_marked_on_every_page_and_a_real_one_on_none() {
    let simulated = pages(&record(FAILS));
    let marks = |flow: &Flow, page| texts(flow, page).iter().filter(|text| text.starts_with("Simulated run:")).count();
    assert!(simulated.pages.len() > 2);
    for page in 0..simulated.pages.len() {
        assert_eq!(marks(&simulated, page), 1, "page {page}");
    }
    let real = pages(&record(CONFORMS));
    assert!((0..real.pages.len()).all(|page| marks(&real, page) == 0));
}

#[test]
fn every_page_says_which_of_how_many_it_is() {
    let flow = pages(&record(CONFORMS));
    let count = flow.pages.len();
    for page in 0..count {
        assert!(texts(&flow, page).contains(&format!("page {} of {count}", page + 1).as_str()));
    }
}

#[test]
fn nothing_leaves_the_paper() {
    assert_within(&pages(&record(CONFORMS)));
    for evil in ["x".repeat(10_000), "word ".repeat(3_000), "漢".repeat(500), "\u{202e}W".repeat(300)] {
        let mut record = record(FAILS);
        record.unit.serial.clone_from(&evil);
        record.unit.maker.clone_from(&evil);
        record.unit.title.clone_from(&evil);
        record.bench.operator = Some(evil.clone());
        record.warnings = vec![evil.clone(); 20];
        for check in &mut record.checks {
            check.name.clone_from(&evil);
            check.because = Some(evil.clone());
            check.findings = vec![evil.clone(); 5];
            check.if_not = vec![evil.clone(); 5];
            for requirement in &mut check.requirements {
                requirement.measurand.clone_from(&evil);
                requirement.tolerance.clone_from(&evil);
                requirement.unit.clone_from(&evil);
            }
        }
        assert_within(&pages(&record));
    }
}

#[test]
fn a_table_that_goes_over_a_page_repeats_its_head_and_keeps_headings_with_rows() {
    let mut long = record(CONFORMS);
    long.checks = long.checks.iter().cycle().take(60).cloned().collect();
    let names: Vec<&str> = long.checks.iter().map(|check| check.name.as_str()).collect();
    let flow = pages(&long);
    let with_rows: Vec<usize> =
        (0..flow.pages.len()).filter(|page| texts(&flow, *page).contains(&"start-up time")).collect();
    assert!(with_rows.len() > 3);
    for page in with_rows {
        let texts = texts(&flow, page);
        assert!(texts.contains(&"Requirement") && texts.contains(&"Decision"), "page {page}");
        // Foot and page number are written after the table, so the third from the end is the last text of the table.
        let body: Vec<&&str> = texts.iter().filter(|text| names.iter().any(|name| name == *text)).collect();
        if let Some(heading) = body.last() {
            let place = texts.iter().rposition(|text| *text == **heading).expect("it is there");
            let after = &texts[place + 1..];
            assert!(
                after.iter().any(|text| text.starts_with("k = ") || *text == "0" || text.contains('±')),
                "page {page}"
            );
        }
    }
}
