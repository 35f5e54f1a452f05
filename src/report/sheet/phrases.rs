//! The sentences of a sheet.

use crate::record::Record;
use crate::record::stored::{Origin, Requirement, Verdict};
use crate::report::rule;
use time::format_description::BorrowedFormatItem;
use time::format_description::well_known::Rfc3339;
use time::macros::format_description;
use time::{OffsetDateTime, UtcOffset};

const DAY: &[BorrowedFormatItem<'_>] =
    format_description!("[day padding:none] [month repr:long] [year], [hour]:[minute] UTC");

/// What to heed when handling a drive.
pub const CAUTIONS: &[(&str, &str)] = &[
    (
        "Pinch points.",
        "Belt, pulley and carriage draw in fingers, hair, straps and cables. Keep clear while the pack is in.",
    ),
    (
        "Lithium-ion pack.",
        "Do not short, crush, open or heat it. Charge it only on its own charger, never unattended; take a swollen, hot or \
         damaged pack out of use.",
    ),
    ("Hot motor.", "After long moves the motor's case can burn skin. Let it cool before you touch it."),
    (
        "No safety function.",
        "The stop key and every stop by firmware or bench software can fail. Take the pack out before you reach into the \
         drive.",
    ),
];

/// Stands on every page of a simulated run.
pub const SIMULATED: &str = "Simulated run: no unit was tested, and this sheet certifies nothing.";

/// The decision as a headline.
pub const fn headline(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Conforms => "Conforms",
        Verdict::Undecided => "Undecided",
        Verdict::DoesNotConform => "Does not conform",
        Verdict::Invalid => "Invalid",
    }
}

/// What the decision rests on and what follows from it.
pub fn statement(record: &Record) -> String {
    let requirements = || record.checks.iter().flat_map(|check| &check.requirements);
    let total = requirements().count();
    let are = |verdict| requirements().filter(|requirement| requirement.decision == verdict).count();
    let findings: usize = record.checks.iter().map(|check| check.findings.len()).sum();
    match record.decision {
        Verdict::Conforms => format!("Every one of the plan's {total} requirements is met."),
        Verdict::Invalid => {
            "The bench failed, so this run proves nothing about the unit. Remove the cause and repeat it.".into()
        }
        Verdict::Undecided => format!(
            "Of {total} requirements, {} neither proven met nor proven not met. The unit is not released by this run.",
            are_or_is(are(Verdict::Undecided))
        ),
        Verdict::DoesNotConform => {
            let mut parts = Vec::new();
            for (count, what) in [
                (are(Verdict::DoesNotConform), "not met"),
                (are(Verdict::Undecided), "undecided"),
                (are(Verdict::Invalid), "without a valid measurement"),
            ] {
                if count > 0 {
                    parts.push(format!("{} {what}", are_or_is(count)));
                }
            }
            let met = if parts.is_empty() { "all are met".into() } else { parts.join(", ") };
            let more = match findings {
                0 => String::new(),
                1 => " There is 1 finding beyond them.".into(),
                more => format!(" There are {more} findings beyond them."),
            };
            format!("Of {total} requirements, {met}.{more}")
        }
    }
}

/// The decision rule in words.
pub fn rule(record: &Record) -> String {
    let mut said = rule::sentence(&record.plan.rule);
    let has_own = |requirement: &Requirement| requirement.rule.is_some();
    if record.checks.iter().flat_map(|check| &check.requirements).any(has_own) {
        said.push_str(" Where another rule stands beside a requirement, that one holds for it.");
    }
    said.push_str(
        " The figure after ± is the expanded uncertainty U for a coverage probability of 95 %, k its coverage factor \
         (JCGM 100:2008), and P the probability that the true value lies within its tolerance limits (JCGM 106:2012). Of several readings the one nearest to nonconformity is shown. All of it holds for this one unit as it was when it was \
         tested, and for no other.",
    );
    said
}

/// The last words of a sheet, so that a missing page is noticed.
pub const END: &str = "End of this sheet.";

/// What the small scale drawings show.
pub const SCALES: &str = "Scales: the pale zone is the tolerance, its darker ends the guard bands; ● conforms, ○ undecided, \
                          ◆ does not conform, with the expanded uncertainty as a bar.";

/// Where the run came from, for the facts.
pub fn origin(record: &Record) -> Option<String> {
    let simulated = record.run.is_simulated().then(|| {
        let seed = record.run.seed.map_or_else(String::new, |seed| format!(", seed {seed}"));
        let faults = &record.run.faults;
        let faults = if faults.is_empty() { String::new() } else { format!(", with {}", faults.join(", ")) };
        format!("simulated{seed}{faults}")
    });
    let replayed =
        (record.run.origin == Origin::Replayed).then(|| "judged from kept evidence, without a bench".to_owned());
    let parts: Vec<String> = simulated.into_iter().chain(replayed).collect();
    (!parts.is_empty()).then(|| parts.join("; "))
}

/// A moment of a record as a date in UTC, or as it stands where it is none.
pub fn moment(text: &str) -> String {
    match date(text).and_then(|date| date.format(DAY).ok()) {
        Some(day) => day,
        None => text.to_owned(),
    }
}

/// A moment of a record.
pub fn date(text: &str) -> Option<OffsetDateTime> {
    OffsetDateTime::parse(text, &Rfc3339).ok()?.checked_to_offset(UtcOffset::UTC)
}

fn are_or_is(count: usize) -> String {
    format!("{count} {}", if count == 1 { "is" } else { "are" })
}
