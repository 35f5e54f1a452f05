//! Certificate and nonconformity sheet, in HTML and PDF.

mod records;

use railproof::record::Record;
use railproof::report::{Kind, kind, plots, sheet_html, sheet_pdf};
use serde_json::{Value, json};

const DIGEST: &str = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08";

fn kept(name: &str) -> Record {
    records::changed(name, |_| {})
}

#[test]
fn only_a_conforming_run_gets_a_certificate() {
    assert_eq!(kind(&kept("conforms-1")), Kind::Certificate);
    for decision in ["undecided", "does not conform", "invalid"] {
        let record = records::changed("conforms-1", |value| value["decision"] = json!(decision));
        assert_eq!(kind(&record), Kind::Nonconformity, "{decision}");
        let html = sheet_html(&record, DIGEST);
        assert!(html.contains("Nonconformity sheet") && !html.contains("Test certificate"), "{decision}");
    }
    assert_eq!((Kind::Certificate.file_stem(), Kind::Nonconformity.file_stem()), ("certificate", "nonconformity"));
}

#[test]
fn the_certificate_says_what_was_found_and_how_sure_it_is() {
    let html = sheet_html(&kept("conforms-1"), DIGEST);
    for said in [
        "Saltmarsh Motion",
        "Dunlin 600",
        "SM-0001",
        "4 March 2026, 09:12 UTC",
        "outgoing, revision 3",
        "Mira Løvås",
        "pack P-0311",
        "driver board D-0x21",
        DIGEST,
        "at most 2.5 %",
        "(90.020 ± 0.067) mm/s",
        "k = 1.96",
        "87.3 to 92.7 mm/s",
        "Every one of the plan's 24 requirements is met.",
        "2026-08-02",
        "Pinch points.",
        "Lithium-ion pack.",
        "Hot motor.",
        "No safety function.",
        "Carriage speed",
        "Step intervals",
        "minimum 6.90 V",
    ] {
        assert!(html.contains(said), "{said}");
    }
    assert!(!html.contains("Simulated run"));
    assert_eq!(html.matches("role=\"img\"").count(), html.matches("aria-label=").count());
}

#[test]
fn a_certificate_of_an_overdue_jig_says_so_and_under_what_conditions_it_was_calibrated() {
    let record = records::changed("conforms-1", |value| {
        value["bench"]["calibrations"][0]["due"] = json!("2026-03-03");
        value["bench"]["calibrations"][0]["environment"] = json!("21.5 °C, 45 % RH");
        value["bench"]["overdue_because"] = json!("the reference is away until Friday");
    });
    let html = sheet_html(&record, DIGEST);
    for said in [
        "Calibration past its due date",
        "clock: the calibration was due on 2026-03-03.",
        "Reason given for running all the same: the reference is away until Friday",
        "clock (at 21.5 °C, 45 % RH)",
    ] {
        assert!(html.contains(said), "{said}");
    }
    assert_eq!(kind(&record), Kind::Certificate);
    assert!(!sheet_html(&kept("conforms-1"), DIGEST).contains("past its due date"));
    let (with, without) = (sheet_pdf(&record, DIGEST), sheet_pdf(&kept("conforms-1"), DIGEST));
    assert_ne!(with.expect("a PDF").len(), without.expect("a PDF").len());
}

#[test]
fn the_nonconformity_sheet_puts_what_failed_first() {
    let html = sheet_html(&kept("does-not-conform-1"), DIGEST);
    let place = |said: &str| html.find(said).unwrap_or_else(|| panic!("{said}"));
    let shortcoming =
        "(83.740 ± 0.061) mm/s; 3.560 mm/s below the lower limit of 87.3 mm/s. Required: 87.3 to 92.7 mm/s.";
    assert!(place("Simulated run: no unit was tested, and this sheet certifies nothing.") < place(shortcoming));
    assert!(place(shortcoming) < place("driver current setting, belt tension, pack lot"));
    assert!(place("driver current setting, belt tension, pack lot") < place("<h2>Results</h2>"));
    assert!(
        place("no value: the right end stop never closed.")
            < place("probability of conforming is 89 %, and 97.5 % is needed")
    );
    assert!(html.contains("Of 24 requirements, 4 are not met, 3 are undecided. There is 1 finding beyond them."));
}

#[test]
fn the_html_needs_nothing_from_elsewhere() {
    for name in ["conforms-1", "does-not-conform-1"] {
        let html = sheet_html(&kept(name), DIGEST);
        let without_namespace = html.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
        for outside in ["http:", "https:", "//www", "<script", "<link", "<img", "@import", "src=\""] {
            assert!(!without_namespace.contains(outside), "{name}: {outside}");
        }
        assert!(html.contains("Content-Security-Policy") && html.contains("url(data:font/otf;base64,"));
    }
}

#[test]
fn the_pdf_claims_to_be_archivable_and_accessible() {
    for name in ["conforms-1", "does-not-conform-1"] {
        let pdf = sheet_pdf(&kept(name), DIGEST).expect("krilla finds no violation");
        let text = String::from_utf8_lossy(&pdf);
        assert!(text.starts_with("%PDF-1.7"));
        // Outside: ISO 19005-2, 6.6.4 and ISO 14289-1, clause 5, identification of the PDF; how: from memory
        // ISO 19005-2, 6.6.4 and ISO 14289-1, 5: the identification in the metadata, which stands there in clear.
        for claim in [
            "<pdfaid:part>2</pdfaid:part>",
            "<pdfaid:conformance>A</pdfaid:conformance>",
            "<pdfuaid:part>1</pdfuaid:part>",
        ] {
            assert!(text.contains(claim), "{name}: {claim}");
        }
        assert!(text.contains("2026-03-04T09:17:12"), "{name}: the date is that of the run");
    }
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    for name in ["conforms-1", "does-not-conform-1"] {
        let (one, other) = (kept(name), kept(name));
        assert!(sheet_pdf(&one, DIGEST).expect("a PDF") == sheet_pdf(&other, DIGEST).expect("a PDF"), "{name}");
        assert_eq!(sheet_html(&one, DIGEST), sheet_html(&other, DIGEST), "{name}");
    }
    let moved = records::changed("conforms-1", |value| value["run"]["ended"] = json!("2026-03-04T09:17:13Z"));
    assert!(sheet_pdf(&moved, DIGEST).expect("a PDF") != sheet_pdf(&kept("conforms-1"), DIGEST).expect("a PDF"));
}

/// Puts a text into every free text of a record.
fn everywhere(value: &mut Value, text: &str) {
    match value {
        Value::Object(fields) => {
            for (_, value) in fields.iter_mut().filter(|(name, _)| !matches!(name.as_str(), "decision" | "origin")) {
                everywhere(value, text);
            }
        }
        Value::Array(items) => items.iter_mut().for_each(|item| everywhere(item, text)),
        Value::String(free) => *free = text.to_owned(),
        _ => {}
    }
}

#[test]
fn hostile_text_is_shown_and_never_obeyed() {
    let evil = [
        "</style></td><script>alert(1)</script><img src=x onerror=alert(2)> \u{202e}1000-MS\u{202c}\u{200b}\u{2066}"
            .to_owned(),
        "\u{0}\u{7}\u{1b}[31m\u{85}\u{fffe}\u{e0041} 漢字 العربية עברית 🦩 a\u{0301}\u{0301}\u{0301}\u{0301}\u{0301}"
            .to_owned(),
        "x".repeat(10_000),
        "word ".repeat(2_000),
        " \n\t ".to_owned(),
    ];
    for text in evil {
        let record = records::changed("does-not-conform-1", |value| everywhere(value, &text));
        let html = sheet_html(&record, &text);
        assert!(!html.contains("<script") && !html.contains("<img") && !html.contains("</style></td>"));
        let bad = |found: char| {
            found.is_control() && found != '\n'
                || matches!(found, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200b}')
        };
        assert_eq!(html.find(bad), None, "{text:.40?}");
        assert!(html.len() < 3_000_000, "{}", html.len());
        sheet_pdf(&record, &text).unwrap_or_else(|error| panic!("{text:.40?}: {error}"));
    }
}

#[test]
fn extreme_numbers_do_not_break_a_sheet() {
    fn numbers(value: &mut Value, number: &Value) {
        match value {
            Value::Object(fields) => {
                let fixed = ["format", "revision", "seed", "counts"];
                fields
                    .iter_mut()
                    .filter(|(name, _)| !fixed.contains(&name.as_str()))
                    .for_each(|(_, value)| numbers(value, number));
            }
            Value::Array(items) => items.iter_mut().for_each(|item| numbers(item, number)),
            Value::Number(_) => *value = number.clone(),
            _ => {}
        }
    }
    for number in [json!(1e308), json!(-1e308), json!(0.0), json!(5e-324), json!(-3.5)] {
        let record = records::changed("does-not-conform-1", |value| numbers(value, &number));
        let html = sheet_html(&record, DIGEST);
        assert!(!html.contains("NaN") && !html.contains("=\"inf"), "{number}");
        sheet_pdf(&record, DIGEST).unwrap_or_else(|error| panic!("{number}: {error}"));
    }
}

#[test]
fn a_run_without_checks_or_curves_still_has_its_sheet() {
    let record = records::changed("conforms-1", |value| {
        value["decision"] = json!("invalid");
        value["invalid_because"] = json!(["the capture board was unplugged"]);
        value["interrupted"] = json!(true);
        value["checks"] = json!([]);
        value["bench"]["calibrations"] = json!([]);
        value["curves"] = json!({"speed": [], "step_intervals": [], "pack_voltage": [], "temperatures": []});
        value["run"]["ended"] = json!("never");
    });
    let html = sheet_html(&record, DIGEST);
    assert!(html.contains("the capture board was unplugged") && html.contains("the run was interrupted"));
    assert!(html.contains("proves nothing about the unit"));
    sheet_pdf(&record, DIGEST).expect("a PDF");
    assert!(plots(&record).is_empty());
}

#[test]
fn a_long_plan_goes_over_many_pages() {
    let record = records::changed("does-not-conform-1", |value| {
        let checks = value["checks"].as_array().expect("there are checks").clone();
        value["checks"] = Value::Array(checks.iter().cycle().take(4 * checks.len()).cloned().collect());
        value["checks"][3]["findings"] = Value::Array(vec![json!("the unit did not answer in time"); 120]);
    });
    sheet_pdf(&record, DIGEST).expect("a PDF");
}

#[test]
fn the_sheet_states_the_rule_that_decided() {
    for (rule, says) in [
        (json!({ "name": "simple acceptance" }), "shared between maker and buyer"),
        (json!({ "name": "guard band", "factor": 0.83 }), "at least 0.83 times the expanded uncertainty U"),
        (json!({ "name": "false accept at most", "probability": 0.05 }), "is at most 5 %; within the guard band"),
        (json!({ "name": "false reject at most", "probability": 0.025 }), "after all is at most 2.5 %"),
    ] {
        let record = records::changed("conforms-2", |value| {
            value["plan"]["rule"] = rule;
            value["checks"][0]["requirements"][0]["rule"] = json!({ "name": "guard band", "factor": 1.0 });
        });
        let html = sheet_html(&record, DIGEST);
        assert!(html.contains(says), "{says}");
        assert!(html.contains("that one holds for it") && html.contains("decided by guard band of 1 U"));
        assert!(sheet_pdf(&record, DIGEST).is_ok());
    }
}
