//! What the unit and the operator said.

use super::evidence::CheckEvidence;
use super::values::{count, unit, whole};
use super::{Measurand, Pooling, Reading, Setup};
use crate::capture::{Action, Cue};
use crate::quantity::Dimension;

const fn of_the_link(
    name: &'static str,
    about: &'static str,
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand {
        name,
        dimension: Dimension::Count,
        about,
        source: "common practice",
        edges: &[],
        samples: &[],
        pooling: Pooling::Worst,
        reader,
    }
}

pub(super) const UNANSWERED_COMMANDS: Measurand = of_the_link(
    "unanswered commands",
    "times in the check that a command went unanswered, each attempt counted",
    |check, _| counted(check, |cue| matches!(cue, Cue::Unanswered { .. })),
);

pub(super) const REFUSED_COMMANDS: Measurand =
    of_the_link("refused commands", "commands of the check that the unit refused", |check, _| {
        counted(check, |cue| matches!(cue, Cue::Refused { .. }))
    });

pub(super) const WRONG_REPORTS: Measurand = of_the_link(
    "wrong reports",
    "things in the check that the unit said of itself and the bench knows better: model, serial number, firmware",
    wrong_reports,
);

pub(super) const UNEXPECTED_RESTARTS: Measurand = of_the_link(
    "unexpected restarts",
    "start-up banners in the check although the supply was not switched on just then",
    |check, _| counted(check, |cue| *cue == Cue::Restarted),
);

pub(super) const OBJECTIONS: Measurand = of_the_link(
    "objections",
    "questions of the check that the operator answered otherwise than the plan wants",
    objections,
);

fn counted(check: &CheckEvidence, wanted: impl Fn(&Cue) -> bool) -> Vec<Reading> {
    vec![whole(Ok(count(check.cues().filter(|cue| wanted(cue)).count())))]
}

fn wrong_reports(check: &CheckEvidence, _: &Setup) -> Vec<Reading> {
    let mut reports = check
        .cues()
        .filter_map(|cue| match cue {
            Cue::Reported { value, expected, .. } => Some((value, expected)),
            _ => None,
        })
        .peekable();
    if reports.peek().is_none() {
        return vec![whole(Err(unit("the unit reported nothing of itself")))];
    }
    let wrong =
        reports.filter(|(value, expected)| expected.as_ref().is_some_and(|expected| expected != *value)).count();
    vec![whole(Ok(count(wrong)))]
}

fn objections(check: &CheckEvidence, _: &Setup) -> Vec<Reading> {
    let asked = check.phases.iter().any(|phase| matches!(phase.phase.action, Action::Ask { .. }));
    if !asked {
        return Vec::new();
    }
    counted(check, |cue| matches!(cue, Cue::Answered { agrees: false, .. }))
}
