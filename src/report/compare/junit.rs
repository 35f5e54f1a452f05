//! A comparison as JUnit XML: one case for each quantity. What is worse or cannot be told yet is a failure, what could not be
//! compared an error: what is not proven is never green.

use super::{counts, difference, means, methods, remark, set, verdict};
use crate::report::junit::{JunitError, clean, completed, marked};
use crate::report::number;
use crate::study::compare::{Outcome, Row, Study};
use junit_report::{Duration, OffsetDateTime, ReportBuilder, TestCase, TestCaseBuilder, TestSuiteBuilder};

/// The report; `at` is when it was made.
///
/// # Errors
/// Where the packages that write XML report one.
pub fn compared_junit(study: &Study, at: OffsetDateTime) -> Result<String, JunitError> {
    let [first, second] = &study.sets;
    let mut suite = TestSuiteBuilder::new(&clean(&format!("{} against {}", first.name, second.name)));
    suite.set_timestamp(at);
    suite.add_testcases(study.compared.rows.iter().map(case));
    suite.add_testcases(study.compared.refused.iter().map(|refused| {
        TestCaseBuilder::error(&clean(&refused.name), Duration::ZERO, "not compared", &clean(&refused.why)).build()
    }));
    if study.compared.rows.is_empty() && study.compared.refused.is_empty() {
        let error =
            TestCaseBuilder::error("comparison", Duration::ZERO, "nothing", "the two sets have nothing in common");
        suite.add_testcase(error.build());
    }
    let told = [verdict(study), counts(&study.compared)].into_iter().chain(study.told.iter().cloned());
    let lines: Vec<String> = told.chain(methods(study)).map(|line| clean(&line)).collect();
    suite.set_system_out(&marked(&lines.join("\n")));
    let report = ReportBuilder::new().add_testsuite(suite.build()).build();
    let mut written = Vec::new();
    report.write_xml(&mut written).map_err(|error| JunitError(error.to_string()))?;
    let simulated = study.sets.iter().any(|set| set.simulated);
    let properties = [
        ("first", format!("{}, {}", first.name, set(first))),
        ("second", format!("{}, {}", second.name, set(second))),
        ("simulated", simulated.to_string()),
        ("risk", number::plain(study.settings.risk)),
        ("margin", number::plain(study.settings.margins.share)),
        ("railproof", env!("CARGO_PKG_VERSION").to_owned()),
    ];
    let properties: Vec<(String, String)> =
        properties.into_iter().map(|(name, value)| (name.to_owned(), clean(&value))).collect();
    completed(&written, &properties).map_err(|error| JunitError(error.to_string()))
}

fn case(row: &Row) -> TestCase {
    let name = clean(&row.quantity.name());
    let said = remark(row).map(|remark| format!("; {remark}")).unwrap_or_default();
    let text = clean(&format!("{}: {}, by {}{said}", row.outcome.words(), means(row), difference(row)));
    let mut case = match row.outcome {
        Outcome::Worse | Outcome::CannotTell => {
            TestCaseBuilder::failure(&name, Duration::ZERO, row.outcome.words(), &text)
        }
        Outcome::Better | Outcome::Equivalent | Outcome::Alike => TestCaseBuilder::success(&name, Duration::ZERO),
    };
    let check = if row.quantity.check.is_empty() { "comparison" } else { &row.quantity.check };
    case.set_classname(&clean(check)).build()
}
