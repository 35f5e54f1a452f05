//! The list of what a record and its sheet say by ISO/IEC 17025 is held to a certificate.

mod records;

use railproof::report::{sheet_html, sheet_pdf};

const DIGEST: &str = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08";

/// The cells of the list: clause, what it asks for, where it is kept, words on the sheet.
fn rows() -> Vec<[String; 4]> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/schema/iso-17025-clause-7.8.md");
    let text = std::fs::read_to_string(path).expect("the list");
    let rows = text.lines().filter(|line| line.starts_with("| 7.8"));
    let cells =
        rows.map(|row| row.trim_matches('|').split(" | ").map(|cell| cell.trim().to_owned()).collect::<Vec<_>>());
    cells.map(|cells| cells.try_into().expect("four cells")).collect()
}

// Outside: items of a test report, ISO/IEC 17025:2017, 7.8.2.1 a to p, 7.8.3.1 and 7.8.6; how: from memory
#[test]
fn every_item_is_on_a_certificate_or_says_why_not() {
    let record = records::changed("conforms-1", |value| value["warnings"] = serde_json::json!(["the air was warm"]));
    let html = sheet_html(&record, DIGEST);
    let rows = rows();
    let clauses: Vec<&str> = rows.iter().map(|[clause, ..]| clause.as_str()).collect();
    for letter in 'a'..='p' {
        assert!(clauses.contains(&format!("7.8.2.1 {letter}").as_str()), "{letter}");
    }
    for [clause, _, kept, said] in &rows {
        match said.strip_prefix('`').and_then(|said| said.strip_suffix('`')) {
            Some(said) => assert!(html.contains(said), "{clause}: `{said}` is not on the certificate"),
            None => assert!(said == "–" && !kept.is_empty(), "{clause}: {said}"),
        }
    }
}

/// What the list says is kept is a field of the record's schema.
#[test]
fn every_item_is_kept_in_a_field_that_there_is() {
    let schema = include_str!("../fixtures/schema/record-2.json");
    for [clause, _, kept, _] in rows() {
        for path in kept.split('`').skip(1).step_by(2).filter(|path| !path.contains('.') || !path.ends_with(".json")) {
            let field = path.rsplit('.').next().unwrap_or(path).trim_end_matches("[]");
            let is_field = schema.contains(&format!("\"{field}\":"));
            assert!(is_field || ["events.jsonl", "page 1 of 6"].contains(&path), "{clause}: `{path}`");
        }
    }
}

#[test]
fn the_end_can_be_seen_and_is_the_end() {
    let record = records::changed("conforms-1", |_| {});
    let html = sheet_html(&record, DIGEST);
    let (end, last) =
        (html.find("End of this sheet.").expect("it is marked"), html.rfind("No safety function.").expect("a caution"));
    assert!(last < end && html.matches("End of this sheet.").count() == 1);
    assert!(sheet_pdf(&record, DIGEST).is_ok());
}
