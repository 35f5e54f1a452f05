//! `junit.xml`, read back by another reader: the quick-junit package.

mod records;

use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus};
use railproof::report::junit;
use serde_json::{Value, json};

const DIGEST: &str = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08";

/// quick-junit reads time stamps with a zone alone, which the Ant schema forbids: the zone is added for it.
fn read(xml: &str) -> Report {
    let start = xml.find("timestamp=\"").expect("there is a time stamp") + "timestamp=\"".len();
    let end = start + xml[start..].find('"').expect("it ends");
    assert_eq!(xml[start..end].len(), "2026-03-04T09:12:07".len());
    let zoned = format!("{}Z{}", &xml[..end], &xml[end..]);
    Report::deserialize_from_str(&zoned).unwrap_or_else(|error| panic!("{error}\n{xml}"))
}

fn cases(name: &str, change: impl FnOnce(&mut Value)) -> Vec<TestCase> {
    let xml = junit(&records::changed(name, change), DIGEST).expect("it can be written");
    read(&xml).test_suites.remove(0).test_cases
}

fn kind(case: &TestCase) -> Option<(NonSuccessKind, String)> {
    match &case.status {
        TestCaseStatus::NonSuccess { kind, ty, .. } => {
            Some((*kind, ty.as_ref().map(|ty| ty.as_str().to_owned()).unwrap_or_default()))
        }
        _ => None,
    }
}

fn of<'a>(cases: &'a [TestCase], name: &str) -> &'a TestCase {
    cases.iter().find(|case| case.name.as_str() == name).unwrap_or_else(|| panic!("no case {name}"))
}

#[test]
fn a_conforming_run_is_all_green() {
    let record = records::changed("conforms-1", |_| {});
    let xml = junit(&record, DIGEST).expect("it can be written");
    let report = read(&xml);
    let suite = &report.test_suites[0];
    assert_eq!(suite.name.as_str(), "Dunlin 600 SM-0001");
    assert_eq!((suite.tests, suite.failures, suite.errors), (24, 0, 0));
    assert!(suite.test_cases.iter().all(|case| kind(case).is_none()));
    assert_eq!(suite.test_cases[2].classname.as_ref().map(|name| name.as_str()), Some("promised top speed"));
    let property = |name: &str| {
        let found = suite.properties.iter().find(|property| property.name.as_str() == name);
        found.map(|property| property.value.as_str().to_owned())
    };
    assert_eq!(property("record sha256").as_deref(), Some(DIGEST));
    assert_eq!(property("part pack").as_deref(), Some("P-0311"));
    assert_eq!(property("unit firmware").as_deref(), Some("1.4.0"));
    let total: f64 = record.checks.iter().map(|check| check.took_s).sum();
    assert!((suite.time.expect("it has a time").as_secs_f64() - total).abs() < 0.02);
}

#[test]
fn every_decision_but_conforms_stops_a_pipeline() {
    let cases = cases("does-not-conform-1", |_| {});
    assert_eq!(kind(of(&cases, "cruise speed")), Some((NonSuccessKind::Failure, "does not conform".into())));
    assert_eq!(kind(of(&cases, "stop distance")), Some((NonSuccessKind::Failure, "undecided".into())));
    assert_eq!(kind(of(&cases, "end-stop response")), Some((NonSuccessKind::Failure, "does not conform".into())));
    assert_eq!(kind(of(&cases, "finding 1")), Some((NonSuccessKind::Failure, "finding".into())));
    assert_eq!(kind(of(&cases, "dead controls")), Some((NonSuccessKind::Error, "not carried out".into())));
    let TestCaseStatus::NonSuccess { message, description, .. } = &of(&cases, "cruise speed").status else {
        panic!("it fails")
    };
    let message = message.as_ref().expect("it has a message").as_str();
    assert_eq!(
        message,
        "(83.740 ± 0.061) mm/s, required 87.3 to 92.7 mm/s; 3.560 mm/s below the lower limit of 87.3 mm/s; \
         look first at: driver current setting, belt tension, pack lot"
    );
    assert!(description.as_ref().expect("all readings").as_str().contains("to the left end at 90 mm/s: (84.006"));
}

#[test]
fn a_failed_bench_is_an_error_even_where_every_check_conforms() {
    let invalid = cases("conforms-1", |value| {
        value["decision"] = json!("invalid");
        value["invalid_because"] = json!(["a frame was lost"]);
    });
    assert_eq!(kind(of(&invalid, "bench")), Some((NonSuccessKind::Error, "invalid".into())));
    let odd = cases("conforms-1", |value| value["decision"] = json!("undecided"));
    assert_eq!(kind(of(&odd, "bench")), Some((NonSuccessKind::Error, "undecided".into())));
    let check = cases("conforms-1", |value| {
        value["decision"] = json!("does not conform");
        value["checks"][0]["decision"] = json!("does not conform");
    });
    assert_eq!(kind(of(&check, "carried out")), Some((NonSuccessKind::Error, "does not conform".into())));
}

#[test]
fn hostile_text_stays_text() {
    let evil = "a]]>b\u{0}\u{b}\u{1b}[31m<x>&\"'\u{202e}\u{fffe}\nend";
    let cases = cases("does-not-conform-1", |value| {
        value["checks"][1]["requirements"][0]["readings"][0]["label"] = json!(evil);
        value["checks"][1]["name"] = json!(evil);
        value["checks"][6]["findings"][0] = json!(evil);
        value["warnings"] = json!([evil]);
        value["unit"]["parts"][0]["lot"] = json!(evil);
    });
    let shown = "a]]>b[U+0000][U+000B][U+001B][31m<x>&\"'[U+202E][U+FFFE] end";
    assert_eq!(of(&cases, "cruise speed").classname.as_ref().map(|name| name.as_str()), Some(shown));
    let TestCaseStatus::NonSuccess { description, .. } = &of(&cases, "cruise speed").status else { panic!("it fails") };
    assert!(description.as_ref().expect("all readings").as_str().starts_with(shown));
}

#[test]
fn times_and_stamps_are_as_the_schemas_want_them() {
    let record = records::changed("conforms-1", |value| {
        value["run"]["started"] = json!("2026-03-04T11:12:07.123456+02:00");
        value["checks"][0]["took_s"] = json!(0.000_000_1);
        value["checks"][1]["took_s"] = json!(1.23456);
    });
    let xml = junit(&record, DIGEST).expect("it can be written");
    assert!(xml.contains("timestamp=\"2026-03-04T09:12:07\""), "{xml}");
    for time in xml.split(" time=\"").skip(1).map(|rest| &rest[..rest.find('"').expect("it ends")]) {
        let (_, decimals) = time.split_once('.').expect("a fraction");
        assert_eq!(decimals.len(), 3, "{time}");
    }
    assert!(xml.contains("time=\"1.235\""));
    let properties = xml.find("<properties>").expect("there are properties");
    assert!(properties < xml.find("<testcase").expect("there are cases"));
}
