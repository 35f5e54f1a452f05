//! From evidence to outcomes: measures each check of a plan as its capture arrives, and decides it.
//!
//! Nothing here knows whether the capture is live or stored.

use super::rounds::{self, After};
use crate::capture::{CaptureSink, Cue, Mark, MarkKind, Part, Tick};
use crate::decide::{self, Decision, Judgement, Limits, Rule};
use crate::event::{CheckOutcome, MoveOutcome, ReadingOutcome, RequirementOutcome, RoundsTaken, RunOutcome};
use crate::measure::{Blame, LookCloser, MoveClock, Reading, Session, Setup, Traces, Withheld};
use crate::plan::{Check, Plan};
use crate::stats::Estimate;

/// What a check that was begun and not ended is said to be, before the reason.
pub const BROKEN_OFF: &str = "broken off: ";

/// Measures and decides the checks of a plan.
pub struct Assessor<'a> {
    plan: &'a Plan,
    setup: Setup,
    session: Session,
    outcomes: Vec<CheckOutcome>,
    current: Option<Current>,
    reports: Vec<(String, String)>,
    losses: Vec<String>,
    last_tick: Tick,
}

/// How a run ended, as far as its evidence does not say so.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ending {
    /// Why the checks that are missing were not carried out.
    pub why_not: String,
    /// Why the run proves nothing, where it does not; losses are added.
    pub invalid_because: Vec<String>,
    /// Whether somebody interrupted it.
    pub interrupted: bool,
    /// How long it took, s of bench time.
    pub took_s: f64,
}

/// The check that is being carried out.
struct Current {
    check: usize,
    began: Tick,
    findings: Vec<String>,
    moves: Vec<MoveOutcome>,
    /// What each round gave that is over: the readings of each requirement.
    rounds: Vec<Vec<Vec<Reading>>>,
    step_clock: Vec<MoveClock>,
}

impl<'a> Assessor<'a> {
    /// An assessor of one run of `plan`.
    pub fn new(plan: &'a Plan, setup: Setup) -> Self {
        Self {
            plan,
            session: Session::new(setup.clone()).looking_closer(closer(plan)),
            setup,
            outcomes: Vec::new(),
            current: None,
            reports: Vec::new(),
            losses: Vec::new(),
            last_tick: 0,
        }
    }

    /// Assesses what another instrument captured: what the unit and the bench said is not in it.
    pub fn without_transcript(self) -> Self {
        Self { session: self.session.without_transcript(), ..self }
    }

    /// Checks decided so far.
    pub fn outcomes(&self) -> &[CheckOutcome] {
        &self.outcomes
    }

    /// Evidence that is known to be missing so far; any makes the run invalid.
    pub fn losses(&self) -> &[String] {
        &self.losses
    }

    /// Carriage position by the jig's encoder, m.
    pub fn position(&self) -> Option<f64> {
        self.session.position()
    }

    /// The latest pack voltage, V.
    pub fn pack_voltage(&self) -> Option<f64> {
        self.session.pack_voltage()
    }

    /// Ends the assessment: every check of the plan with its outcome, those never begun as not carried out because of
    /// `why_not`; what the unit said of itself; the curves.
    pub fn finish(mut self, why_not: &str) -> (Vec<CheckOutcome>, Vec<(String, String)>, Traces) {
        let checks = self.plan.checks.len();
        if let Some(current) = self.current.take().filter(|current| current.check < checks) {
            // What the rounds before told stays; it is as bad as it was, and never good.
            let mut outcome = self.outcome_of(current, self.last_tick);
            outcome.decision = outcome.decision.max(Decision::Undecided);
            outcome.not_carried_out = Some(format!("{BROKEN_OFF}{why_not}"));
            self.outcomes.push(outcome);
        }
        let end_s = self.seconds(self.last_tick);
        for check in 0..self.plan.checks.len() {
            if !self.outcomes.iter().any(|outcome| outcome.check == check) {
                self.outcomes.push(CheckOutcome {
                    check,
                    decision: Decision::Undecided,
                    not_carried_out: Some(why_not.to_owned()),
                    findings: Vec::new(),
                    rounds: None,
                    requirements: Vec::new(),
                    began_s: end_s,
                    ended_s: end_s,
                    moves: Vec::new(),
                    step_clock: Vec::new(),
                });
            }
        }
        self.outcomes.sort_by_key(|outcome| outcome.check);
        (self.outcomes, self.reports, self.session.into_traces())
    }

    /// Ends the assessment with the outcome of the run: the worst of its checks, and invalid where anything is missing.
    pub fn outcome(self, ending: Ending) -> RunOutcome {
        let Ending { why_not, mut invalid_because, interrupted, took_s } = ending;
        for loss in &self.losses {
            if !invalid_because.contains(loss) {
                invalid_because.push(loss.clone());
            }
        }
        let plan = self.plan;
        let (checks, reports, traces) = self.finish(&why_not);
        for failure in bench_failures(plan, &checks) {
            if !invalid_because.contains(&failure) {
                invalid_because.push(failure);
            }
        }
        let worst = checks.iter().map(|check| check.decision).max().unwrap_or(Decision::Undecided);
        let decision = if invalid_because.is_empty() { worst } else { Decision::Invalid };
        RunOutcome { decision, invalid_because, interrupted, checks, reports, traces, took_s }
    }

    fn seconds(&self, tick: Tick) -> f64 {
        tick as f64 / self.setup.jig.ticks_per_second as f64
    }

    /// What the jig said is missing, and what the session saw to be.
    fn take_losses(&mut self) {
        let known = self.losses.len();
        self.losses.extend(self.session.losses()[known..].iter().map(|loss| loss.what.clone()));
    }

    fn take_cue(&mut self, cue: &Cue) {
        match cue {
            Cue::Reported { what, value, .. }
                if !self.reports.iter().any(|(name, said)| name == what && said == value) =>
            {
                self.reports.push((what.clone(), value.clone()));
            }
            Cue::GivenUp { why } => {
                if let Some(current) = &mut self.current {
                    current.findings.push(why.clone());
                }
            }
            _ => {}
        }
    }

    /// Takes in what a round left behind.
    fn end_round(&mut self) {
        let (Some(current), Some(evidence)) = (&mut self.current, self.session.take_check()) else { return };
        let Some(planned) = self.plan.checks.get(current.check) else { return };
        let read = planned.requirements.iter().map(|required| required.measurand.read(&evidence, &self.setup));
        current.rounds.push(read.collect());
        current.step_clock.extend(evidence.step_clock(&self.setup));
    }

    fn end_check(&mut self, ended: Tick) {
        self.end_round();
        if let Some(current) = self.current.take().filter(|current| !current.rounds.is_empty()) {
            let outcome = self.outcome_of(current, ended);
            self.outcomes.push(outcome);
        }
    }

    /// A check as the rounds that are over decide it.
    fn outcome_of(&self, current: Current, ended: Tick) -> CheckOutcome {
        let requirements = self.requirements(&current);
        let worst_requirement = requirements.iter().map(|requirement| requirement.decision).max();
        let finding = (!current.findings.is_empty()).then_some(Decision::DoesNotConform);
        CheckOutcome {
            check: current.check,
            decision: worst_requirement.max(finding).unwrap_or(Decision::Conforms),
            not_carried_out: None,
            rounds: self.rounds_taken(&current, &requirements),
            findings: current.findings,
            requirements,
            began_s: self.seconds(current.began),
            ended_s: self.seconds(ended),
            moves: current.moves,
            step_clock: current.step_clock,
        }
    }

    /// What the plan requires of the current check, decided by all rounds so far; nothing before the first is over.
    fn requirements(&self, current: &Current) -> Vec<RequirementOutcome> {
        let Some(planned) = self.plan.checks.get(current.check).filter(|_| !current.rounds.is_empty()) else {
            return Vec::new();
        };
        let decide = |(number, requirement): (usize, &crate::plan::Requirement)| {
            let rounds: Vec<&[Reading]> = current.rounds.iter().map(|round| round[number].as_slice()).collect();
            rounds::decide(number, requirement, &rounds, &self.plan.rule)
        };
        planned.requirements.iter().enumerate().map(decide).collect()
    }

    fn rounds_taken(&self, current: &Current, requirements: &[RequirementOutcome]) -> Option<RoundsTaken> {
        let planned = self.plan.checks.get(current.check).filter(|planned| planned.rounds_max > 1)?;
        let done = Some(current.rounds.len()).filter(|done| *done > 0)?;
        let why_no_more = match rounds::after(planned, requirements, done, &self.plan.rule) {
            _ if !current.findings.is_empty() => None,
            After::Decided => None,
            After::Again => Some("the capture holds no further round".to_owned()),
            After::Enough(why) => Some(why),
        };
        Some(RoundsTaken { done, at_most: planned.rounds_max as usize, why_no_more })
    }

    /// Whether the check whose round has just ended should be carried out again: more readings would settle a value.
    pub fn wants_another_round(&self) -> bool {
        let Some(current) = &self.current else { return false };
        let Some(planned) = self.plan.checks.get(current.check) else { return false };
        let (requirements, done) = (self.requirements(current), current.rounds.len());
        done > 0
            && current.findings.is_empty()
            && self.losses.is_empty()
            && rounds::after(planned, &requirements, done, &self.plan.rule) == After::Again
    }
}

impl CaptureSink for Assessor<'_> {
    fn part(&mut self, part: &Part) {
        self.session.part(part);
        self.take_losses();
    }

    fn mark(&mut self, mark: &Mark) {
        self.last_tick = mark.at;
        self.session.mark(mark);
        self.take_losses();
        match &mark.kind {
            MarkKind::CheckBegins { check } => {
                self.current = Some(Current {
                    check: *check,
                    began: mark.at,
                    findings: Vec::new(),
                    moves: Vec::new(),
                    rounds: Vec::new(),
                    step_clock: Vec::new(),
                });
            }
            MarkKind::PhaseBegins(phase) => {
                let began_s = self.seconds(mark.at);
                if let Some(current) = &mut self.current {
                    current.moves.push(MoveOutcome { label: phase.label.clone(), began_s, ended_s: began_s });
                }
            }
            MarkKind::PhaseEnds => {
                let ended_s = self.seconds(mark.at);
                if let Some(last) = self.current.as_mut().and_then(|current| current.moves.last_mut()) {
                    last.ended_s = ended_s;
                }
            }
            MarkKind::Cue(cue) => self.take_cue(cue),
            MarkKind::RoundEnds { .. } => self.end_round(),
            MarkKind::CheckEnds { .. } => self.end_check(mark.at),
        }
    }
}

/// The checks that require something for which a session has to look closer.
fn closer(plan: &Plan) -> LookCloser {
    let needs = |check: &Check| check.requirements.iter().any(|required| required.measurand.needs_closer_look());
    LookCloser::At((0..plan.checks.len()).filter(|number| needs(&plan.checks[*number])).collect())
}

/// Values that the bench could not give, and why.
fn bench_failures(plan: &Plan, checks: &[CheckOutcome]) -> Vec<String> {
    let mut failures = Vec::new();
    for outcome in checks {
        let check = &plan.checks[outcome.check];
        for required in &outcome.requirements {
            let mut withheld = required.readings.iter().filter_map(|reading| reading.result.as_ref().err());
            if let Some(withheld) = withheld.find(|withheld| withheld.blame == Blame::Bench) {
                let measurand = check.requirements[required.requirement].measurand.name;
                failures.push(format!("{}: no {measurand}: {}", check.name, withheld.why));
            }
        }
    }
    failures
}

/// A value with its judgement. One that is no number, or whose doubt is none, proves nothing about the unit.
pub(super) fn judged(
    result: Result<Estimate, Withheld>,
    limits: &Limits,
    rule: &Rule,
) -> Result<(Estimate, Judgement), Withheld> {
    let estimate = result?;
    if !estimate.value.is_finite() || !estimate.standard_uncertainty().is_finite() {
        let why =
            "what was measured gives no finite value; look at the jig's channels and their calibration".to_owned();
        return Err(Withheld { why, blame: Blame::Bench });
    }
    let judgement = decide::judge(&estimate, limits, rule);
    Ok((estimate, judgement))
}

pub(super) fn reading_decision(reading: &ReadingOutcome) -> Decision {
    match &reading.result {
        Ok((_, judgement)) => judgement.decision,
        Err(withheld) => match withheld.blame {
            Blame::Unit => Decision::DoesNotConform,
            Blame::Bench => Decision::Invalid,
            Blame::Nobody => Decision::Undecided,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_that_is_no_number_is_the_bench_s_failure() {
        let (limits, rule) = (Limits { lower: None, upper: Some(1.0) }, Rule::FalseAccept { at_most: 0.025 });
        let endless = Estimate::of(0.5).with("resolution", f64::INFINITY);
        for estimate in [Estimate::exact(f64::NAN), Estimate::exact(f64::NEG_INFINITY), endless] {
            let withheld = judged(Ok(estimate), &limits, &rule).expect_err("nothing is proven");
            assert_eq!(withheld.blame, Blame::Bench);
        }
        assert!(judged(Ok(Estimate::exact(0.5)), &limits, &rule).is_ok());
    }
}
