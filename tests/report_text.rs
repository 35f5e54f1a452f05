//! The table on the terminal.

mod records;

use railproof::report::text;
use serde_json::json;

fn plain(text: &str) -> String {
    anstream::adapter::strip_str(text).to_string()
}

#[test]
fn a_failing_run_at_80_columns() {
    let record = records::changed("does-not-conform-1", |_| {});
    let text = plain(&text(&record, 80));
    for line in [
        "SIMULATED RUN: no unit was tested; this certifies nothing.",
        "✗ does not conform   promised top    missing steps            at most 0",
        "                     speed           44                       44 outside",
        "? undecided          stops within    stop distance            at most 3 mm",
        "  P = 89 %           3 mm and        (2.951 ± 0.078) mm       0.049 mm inside",
        "    look first at: driver current setting, belt tension, pack lot",
        "    found: the unit did not answer `STATE` (3 tries)",
        "✗ does not conform, 9 checks in 5 min 5 s of bench time, simulated",
    ] {
        assert!(text.lines().any(|found| found == line), "{line:?} is missing in\n{text}");
    }
}

#[test]
fn no_line_is_wider_than_the_terminal() {
    let long = "long ".repeat(300);
    let unbroken = "x".repeat(10_000);
    let record = records::changed("does-not-conform-1", |value| {
        value["checks"][0]["name"] = json!(unbroken);
        value["checks"][1]["name"] = json!(long);
        value["checks"][1]["if_not"] = json!([unbroken, long]);
        value["checks"][6]["findings"] = json!([unbroken]);
        value["unit"]["serial"] = json!(unbroken);
        value["checks"][1]["requirements"][0]["measurand"] = json!(unbroken);
        value["checks"][1]["requirements"][0]["unit"] = json!(unbroken);
    });
    for width in [76, 80, 109, 120, 150] {
        let text = plain(&text(&record, width));
        let widest = text.lines().map(|line| line.chars().count()).max().expect("there are lines");
        assert!(widest <= usize::from(width), "{widest} at {width}\n{text}");
    }
    assert!(!text(&record, 1).is_empty());
}

#[test]
fn decisions_do_not_rest_on_colour() {
    let record = records::changed("does-not-conform-1", |_| {});
    let styled = text(&record, 120);
    let bare = plain(&styled);
    assert!(styled.contains("\u{1b}[") && !bare.contains('\u{1b}'));
    for check in &record.checks {
        let mark = serde_json::to_value(check.decision).expect("a decision is text");
        let mark = mark.as_str().expect("a decision is text").to_owned();
        let start: String = check.name.chars().take(12).collect();
        assert!(bare.lines().any(|line| line.contains(&mark) && line.contains(start.trim())), "{}", check.name);
    }
}

#[test]
fn text_from_a_record_cannot_steer_the_terminal() {
    let record = records::changed("conforms-1", |value| {
        value["unit"]["serial"] = json!("SM\u{1b}]0;owned\u{7}\u{9b}2J");
        value["checks"][0]["name"] = json!("\u{1b}[2Jgone\r\u{8}");
    });
    let text = text(&record, 120);
    assert!(text.contains("[U+001B]") && text.contains("[U+0007]") && text.contains("[U+009B]"));
    assert!(!text.contains("\u{1b}]") && !text.contains("\u{1b}[2J") && !text.contains('\r'));
}

#[test]
fn an_invalid_run_says_why() {
    let record = records::changed("conforms-1", |value| {
        value["decision"] = json!("invalid");
        value["interrupted"] = json!(true);
        value["invalid_because"] = json!(["7 edges of `step` were lost"]);
    });
    let text = plain(&text(&record, 100));
    assert!(
        text.contains("invalid because 7 edges of `step` were lost\nthe run was interrupted\n! invalid, 9 checks"),
        "{text}"
    );
}

#[test]
fn an_undecided_value_says_what_its_rule_needs() {
    let said = |rule: serde_json::Value| {
        let record = records::changed("does-not-conform-2", |value| value["plan"]["rule"] = rule);
        plain(&text(&record, 200)).split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(said(json!({ "name": "false accept at most", "probability": 0.025 })).contains("and 97.5 % is needed"));
    let guarded = said(json!({ "name": "guard band", "factor": 0.8 }));
    assert!(guarded.contains("and a distance of 0.8 U from the limit is needed"), "{guarded}");
}
