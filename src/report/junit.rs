//! A run as JUnit XML, for pipelines: one suite for the run, one case for each requirement, finding and failure of the
//! bench. What is not proven is never green: undecided is a failure, invalid and not carried out are errors.
//!
//! There is no one standard of JUnit XML. What comes out here keeps to what all published schemas accept: times with three
//! decimals (xUnit's junit-10.xsd), a time stamp without a zone and properties before the cases (the Ant schema). The
//! package that writes the report knows neither, nor properties, so its output is gone over once with an XML reader.

use super::words::visible_within;
use super::{look, number, overdue, rounds, rule, worst};
use crate::record::Record;
use crate::record::stored::{Check, Origin, Reading, Requirement, RoundReading, Rule, Verdict};
use junit_report::{Duration, OffsetDateTime, ReportBuilder, TestCase, TestCaseBuilder, TestSuiteBuilder};
use quick_xml::events::{BytesEnd, BytesStart, Event};
use quick_xml::{Reader, Writer};
use time::UtcOffset;
use time::format_description::well_known::Rfc3339;

/// Longest text of one attribute or trace, characters.
const TEXT_MAX: usize = 2_000;

/// Why no report came out.
#[derive(Debug, thiserror::Error)]
#[error("the JUnit report cannot be written: {0}")]
pub struct JunitError(pub(super) String);

/// The report. `digest` is the SHA-256 of `record.json`.
///
/// # Errors
/// Where the packages that write XML report one; text from the record cannot cause that.
pub fn junit(record: &Record, digest: &str) -> Result<String, JunitError> {
    let mut suite = TestSuiteBuilder::new(&clean(&format!("{} {}", record.unit.title, record.unit.serial)));
    let started = OffsetDateTime::parse(&record.run.started, &Rfc3339).ok();
    let started = started.and_then(|started| started.checked_to_offset(UtcOffset::UTC));
    suite.set_timestamp(started.unwrap_or(OffsetDateTime::UNIX_EPOCH));
    for check in &record.checks {
        suite.add_testcases(cases(check, &record.plan.rule));
    }
    suite.add_testcases(bench_case(record));
    suite.set_system_out(&marked(&transcript(record)));
    suite.set_system_err(&marked(&record.warnings.iter().map(|warning| clean(warning)).collect::<Vec<_>>().join("\n")));
    let mut suite = suite.build();
    suite.hostname = clean(&record.bench.jig);
    suite.package = clean(&record.plan.name);
    let mut written = Vec::new();
    let report = ReportBuilder::new().add_testsuite(suite).build();
    report.write_xml(&mut written).map_err(|error| JunitError(error.to_string()))?;
    completed(&written, &properties(record, digest)).map_err(|error| JunitError(error.to_string()))
}

/// The cases of a check. Its time stands on the first of them, so that the suite's time is the run's.
fn cases(check: &Check, rule: &Rule) -> Vec<TestCase> {
    let took = Duration::seconds_f64(check.took_s.clamp(0.0, 1e9));
    let mut took = std::iter::once(took).chain(std::iter::repeat(Duration::ZERO));
    let mut time = || took.next().unwrap_or_default();
    let mut cases: Vec<TestCase> = Vec::new();
    for requirement in &check.requirements {
        cases.push(classed(check, requirement_case(check, requirement, rule, time())));
    }
    for (index, finding) in check.findings.iter().enumerate() {
        let name = format!("finding {}", index + 1);
        let case = TestCaseBuilder::failure(&name, time(), "finding", &clean(&with_places(finding, check)));
        cases.push(classed(check, case));
    }
    if check.decision != Verdict::Conforms && cases.iter().all(TestCase::is_success) {
        let why = check.not_carried_out.as_deref().unwrap_or("the check is not proven to conform");
        cases.push(classed(
            check,
            TestCaseBuilder::error("carried out", time(), look::words(check.decision), &clean(why)),
        ));
    }
    cases
}

fn requirement_case(check: &Check, requirement: &Requirement, rule: &Rule, time: Duration) -> TestCaseBuilder {
    let name = clean(&requirement.measurand);
    let mut case = if let Some(why) = &check.not_carried_out {
        TestCaseBuilder::error(&name, time, "not carried out", &clean(why))
    } else {
        let kind = look::words(requirement.decision);
        match requirement.decision {
            Verdict::Conforms => TestCaseBuilder::success(&name, time),
            Verdict::Undecided | Verdict::DoesNotConform => {
                TestCaseBuilder::failure(&name, time, kind, &message(check, requirement, rule))
            }
            Verdict::Invalid => TestCaseBuilder::error(&name, time, kind, &message(check, requirement, rule)),
        }
    };
    let readings = requirement.readings.iter().map(|reading| line(requirement, reading)).collect::<Vec<_>>().join("\n");
    case.set_trace(&marked(&readings));
    case
}

/// Value, limits, what is wrong, where to look first.
fn message(check: &Check, requirement: &Requirement, rule: &Rule) -> String {
    let shortcoming = worst::shortcoming(requirement, rule).unwrap_or_default();
    let text = format!("{}, required {}; {shortcoming}", worst::value(requirement), worst::limits(requirement));
    clean(&with_places(&text, check))
}

fn with_places(text: &str, check: &Check) -> String {
    if check.if_not.is_empty() {
        text.to_owned()
    } else {
        format!("{text}; look first at: {}", check.if_not.join(", "))
    }
}

/// A reading on a line of the trace.
fn line(requirement: &Requirement, reading: &Reading) -> String {
    let unit = worst::unit(requirement);
    let value = match (&reading.measured, &reading.withheld) {
        (Some(measured), _) if measured.expanded_uncertainty == 0.0 => number::measured(measured.value, 0.0, &unit),
        (Some(measured), _) => format!(
            "{} (k = {:.2}), conformance probability {}",
            number::measured(measured.value, measured.expanded_uncertainty, &unit),
            measured.coverage_factor.clamp(0.0, 1e6),
            number::percentage(measured.conformance_probability)
        ),
        (None, why) => format!("no value: {}", clean(why.as_deref().unwrap_or("no reason is on record"))),
    };
    let rounds = each_round(reading).map(|rounds| format!(" ({rounds})")).unwrap_or_default();
    format!("{}: {value}: {}{rounds}", clean(&reading.label), look::words(reading.decision))
}

/// What each round gave where there were several: `by rounds 89.13, no value, 89.11`.
fn each_round(reading: &Reading) -> Option<String> {
    let value = |round: &RoundReading| match (round.value, round.standard_uncertainty) {
        (Some(value), Some(doubt)) => number::beside(value, 2.0 * doubt),
        _ => "no value".into(),
    };
    let values: Vec<String> = reading.rounds.iter().map(value).collect();
    (!values.is_empty()).then(|| format!("by rounds {}", values.join(", ")))
}

/// A case for the bench itself, where it failed; and for a run that is not proven although every check is.
fn bench_case(record: &Record) -> Option<TestCase> {
    let is_explained = record.checks.iter().any(|check| check.decision != Verdict::Conforms);
    let kind = look::words(record.decision);
    let why = match record.decision {
        Verdict::Conforms => return None,
        Verdict::Invalid if !record.invalid_because.is_empty() => record.invalid_because.join("; "),
        Verdict::Invalid if record.interrupted => "the run was interrupted".into(),
        _ if is_explained => return None,
        _ => format!("the run is {kind}"),
    };
    let mut case = TestCaseBuilder::error("bench", Duration::ZERO, kind, &clean(&why));
    Some(case.set_classname("run").build())
}

fn classed(check: &Check, mut case: TestCaseBuilder) -> TestCase {
    case.set_classname(&clean(&check.name)).build()
}

/// The decision, and every reading: a case that passes has no place for text that all schemas accept.
fn transcript(record: &Record) -> String {
    let simulated = if record.run.is_simulated() { "simulated run, certifies nothing: " } else { "" };
    let mut text = format!("{simulated}{}", look::words(record.decision));
    for check in &record.checks {
        let rounds = rounds::remark(check).map(|remark| format!(", {}", clean(&remark))).unwrap_or_default();
        text.push_str(&format!("\n\n{}: {}{rounds}", clean(&check.name), look::words(check.decision)));
        for requirement in &check.requirements {
            for reading in &requirement.readings {
                text.push_str(&format!("\n  {}, {}", clean(&requirement.measurand), line(requirement, reading)));
            }
        }
    }
    text
}

fn properties(record: &Record, digest: &str) -> Vec<(String, String)> {
    let origin = match record.run.origin {
        Origin::Bench => "bench",
        Origin::Simulated => "simulated",
        Origin::Replayed => "replayed",
    };
    let mut properties = vec![
        ("decision".to_owned(), look::words(record.decision).to_owned()),
        ("origin".to_owned(), origin.to_owned()),
        ("run".to_owned(), clean(&record.run.id)),
        ("maker".to_owned(), clean(&record.unit.maker)),
        ("model".to_owned(), clean(&record.unit.model)),
        ("serial".to_owned(), clean(&record.unit.serial)),
        ("plan".to_owned(), format!("{}, revision {}", clean(&record.plan.name), record.plan.revision)),
        ("decision rule".to_owned(), rule::named(&record.plan.rule)),
        ("record sha256".to_owned(), clean(digest)),
        ("railproof".to_owned(), clean(&record.run.railproof)),
    ];
    properties.extend(record.unit.reports.iter().map(|(name, value)| (format!("unit {}", clean(name)), clean(value))));
    properties.extend(record.unit.parts.iter().map(|part| (format!("part {}", clean(&part.name)), clean(&part.lot))));
    properties.extend(record.bench.name.iter().map(|name| ("bench".to_owned(), clean(name))));
    properties.extend(record.bench.key.iter().map(|key| ("bench key".to_owned(), clean(key))));
    let overdue = overdue::lines(record).into_iter().map(|line| (overdue::TITLE.to_lowercase(), clean(&line)));
    properties.extend(overdue);
    properties.extend(record.run.seed.map(|seed| ("seed".to_owned(), seed.to_string())));
    properties.extend(record.run.faults.iter().map(|fault| ("fault".to_owned(), clean(fault))));
    properties.extend(
        record.plan.inputs.iter().map(|input| (format!("{} sha256", clean(&input.role)), clean(&input.sha256))),
    );
    properties
}

/// Text without anything that XML cannot hold, on one line.
pub(super) fn clean(text: &str) -> String {
    visible_within(text, TEXT_MAX)
}

/// Text that may stand inside a marked section, which ends at the first `]]>`.
pub(super) fn marked(text: &str) -> String {
    text.replace("]]>", "]]]]><![CDATA[>")
}

/// The report with properties, and with times as all schemas accept them.
pub(super) fn completed(written: &[u8], properties: &[(String, String)]) -> Result<String, quick_xml::Error> {
    let mut reader = Reader::from_reader(written);
    let mut writer = Writer::new_with_indent(Vec::new(), b' ', 2);
    let mut buffer = Vec::new();
    loop {
        match reader.read_event_into(&mut buffer)? {
            Event::Eof => break,
            Event::Start(start) if start.name().as_ref() == b"testsuite" => {
                writer.write_event(Event::Start(retimed(&start)?))?;
                write_properties(&mut writer, properties)?;
            }
            Event::Empty(start) if start.name().as_ref() == b"testsuite" => {
                writer.write_event(Event::Start(retimed(&start)?))?;
                write_properties(&mut writer, properties)?;
                writer.write_event(Event::End(BytesEnd::new("testsuite")))?;
            }
            Event::Start(start) => writer.write_event(Event::Start(retimed(&start)?))?,
            Event::Empty(start) => writer.write_event(Event::Empty(retimed(&start)?))?,
            other => writer.write_event(other)?,
        }
        buffer.clear();
    }
    let mut text = String::from_utf8_lossy(&writer.into_inner()).into_owned();
    text.push('\n');
    Ok(text)
}

fn write_properties(writer: &mut Writer<Vec<u8>>, properties: &[(String, String)]) -> Result<(), quick_xml::Error> {
    writer.write_event(Event::Start(BytesStart::new("properties")))?;
    for (name, value) in properties {
        let mut property = BytesStart::new("property");
        property.push_attribute(("name", name.as_str()));
        property.push_attribute(("value", value.as_str()));
        writer.write_event(Event::Empty(property))?;
    }
    writer.write_event(Event::End(BytesEnd::new("properties")))?;
    Ok(())
}

/// The element with `time` to three decimals and `timestamp` without fraction and zone.
fn retimed(element: &BytesStart<'_>) -> Result<BytesStart<'static>, quick_xml::Error> {
    let name = String::from_utf8_lossy(element.name().as_ref()).into_owned();
    let mut copy = BytesStart::new(name);
    for attribute in element.attributes() {
        let attribute = attribute?;
        let value = String::from_utf8_lossy(&attribute.value);
        let value = match attribute.key.as_ref() {
            b"time" => format!("{:.3}", value.parse::<f64>().unwrap_or(0.0)),
            b"timestamp" => value.chars().take("yyyy-mm-ddThh:mm:ss".len()).collect(),
            _ => value.into_owned(),
        };
        copy.push_attribute((attribute.key.as_ref(), value.as_bytes()));
    }
    Ok(copy)
}
