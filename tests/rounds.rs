//! A check that repeats its moves while a value is undecided, on the simulated bench: it is decided where one round leaves it
//! open, a healthy unit takes no longer, and whatever ends a run in the middle of a round leaves what the others told.

mod common;
#[path = "common/kept.rs"]
mod kept;

use common::{Simulated, Unwatched};
use kept::Kept;
use railproof::capture::file::{CaptureReader, CaptureWriter};
use railproof::capture::{CaptureSink, Cue, Loss, Mark, MarkKind, Part};
use railproof::decide::Decision;
use railproof::event::{CheckOutcome, Event, RunOutcome, Watcher};
use railproof::run::{Assessor, Ending};
use railproof::sim::WorldSettings;
use railproof::written::Source;
use std::sync::atomic::{AtomicBool, Ordering};

/// A travel both ways that has to be at least so fast, mm/s.
fn plan(least: f64, rounds: &str) -> Simulated {
    let text = format!(
        "plan: trial
revision: 1
model: dunlin-600
decision rule: {{ false accept at most: 2.5 % }}
checks:
  - name: ready
    moves: [ power: on, home: left ]
    require: {{ unexpected restarts: at most 0 }}
  - name: both ways
    moves: [ travel: {{ to: right, speed: 90 mm/s }}, travel: {{ to: left, speed: 90 mm/s }} ]
    {rounds}
    require: {{ cruise speed: at least {least} mm/s, missing steps: at most 0 }}
"
    );
    Simulated::of(&Source::new("trial.yaml", text))
}

const UP_TO_SIX: &str = "repeat while undecided: up to 6 rounds";

fn world() -> WorldSettings {
    WorldSettings { seed: 5, ..WorldSettings::default() }
}

/// Runs a plan, and sees to it that its capture tells the same again.
fn run(simulated: &Simulated, interrupted: &AtomicBool, watcher: &mut dyn Watcher) -> RunOutcome {
    let mut kept = Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).expect("it writes"));
    let outcome = simulated.run_until(&world(), &mut kept, interrupted, watcher);
    let file = kept.0.finish().expect("it is written");
    let mut again = Assessor::new(&simulated.plan, simulated.setup.clone());
    CaptureReader::open(&file[..]).expect("it opens").replay(&mut again).expect("it reads");
    let (checks, ..) = again.finish("the run was interrupted");
    assert_eq!(checks, outcome.checks);
    outcome
}

fn undisturbed(simulated: &Simulated) -> RunOutcome {
    run(simulated, &AtomicBool::new(false), &mut Unwatched)
}

fn both_ways(outcome: &RunOutcome) -> &CheckOutcome {
    &outcome.checks[1]
}

/// The slower of the two ways, and its standard uncertainty, mm/s.
fn slower(outcome: &RunOutcome) -> (f64, f64) {
    let readings = both_ways(outcome).requirements[0].readings.iter();
    let values = readings.map(|reading| reading.result.as_ref().map(|(speed, _)| speed).expect("a value"));
    let slower = values.min_by(|one, other| one.value.total_cmp(&other.value)).expect("two ways");
    (slower.value * 1e3, slower.standard_uncertainty() * 1e3)
}

/// A limit that one round is not sure to keep.
fn doubtful() -> f64 {
    let (speed, doubt) = slower(&undisturbed(&plan(80.0, "")));
    speed - 2.0 * doubt
}

#[test]
fn rounds_decide_what_one_leaves_open() {
    let limit = doubtful();
    let once = undisturbed(&plan(limit, ""));
    assert_eq!(both_ways(&once).decision, Decision::Undecided);
    assert_eq!(both_ways(&once).rounds, None);
    let outcome = undisturbed(&plan(limit, UP_TO_SIX));
    let check = both_ways(&outcome);
    let rounds = check.rounds.as_ref().expect("it may repeat its moves");
    assert!((2..=6).contains(&rounds.done), "{rounds:?}");
    assert_eq!((check.decision, &rounds.why_no_more), (Decision::Conforms, &None));
    assert_eq!(check.moves.len(), 2 * rounds.done, "every move of every round is told");
    for required in &check.requirements {
        assert_eq!(required.readings.len(), 2);
        assert!(required.readings.iter().all(|reading| reading.rounds.len() == rounds.done));
    }
    assert!(slower(&outcome).1 < slower(&once).1, "the doubt is less");
    assert!(outcome.took_s > once.took_s + 10.0);
}

#[test]
fn a_healthy_unit_is_done_after_one_round_and_takes_no_longer() {
    let (once, repeated) = (undisturbed(&plan(80.0, "")), undisturbed(&plan(80.0, UP_TO_SIX)));
    let check = both_ways(&repeated);
    assert_eq!((check.decision, check.rounds.as_ref().map(|rounds| rounds.done)), (Decision::Conforms, Some(1)));
    assert_eq!(once.took_s, repeated.took_s);
    assert!(check.requirements.iter().flat_map(|required| &required.readings).all(|reading| reading.rounds.is_empty()));
}

#[test]
fn the_quick_plan_repeats_nothing_of_a_healthy_unit() {
    let simulated = Simulated::shipped("quick");
    let mut kept = Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).expect("it writes"));
    let outcome = simulated.run(&world(), &mut kept);
    let repeatable: Vec<_> = outcome.checks.iter().filter_map(|check| check.rounds.as_ref()).collect();
    assert!(matches!(repeatable[..], [rounds] if rounds.done == 1), "{repeatable:?}");
    assert_eq!(outcome.decision, Decision::Conforms);
}

#[test]
fn what_does_not_conform_is_not_tried_again() {
    let outcome = undisturbed(&plan(94.0, UP_TO_SIX));
    let check = both_ways(&outcome);
    assert_eq!(check.decision, Decision::DoesNotConform);
    assert_eq!(check.rounds.as_ref().map(|rounds| (rounds.done, rounds.why_no_more.clone())), Some((1, None)));
}

/// Sets the interruption when a round begins.
struct Impatient<'a>(&'a AtomicBool, usize);

impl Watcher for Impatient<'_> {
    fn see(&mut self, event: &Event<'_>) {
        if matches!(event, Event::RoundBegins { check: 1, round } if *round == self.1) {
            self.0.store(true, Ordering::Relaxed);
        }
    }
}

#[test]
fn an_interrupted_round_takes_nothing_from_those_before() {
    let interrupted = AtomicBool::new(false);
    let outcome = run(&plan(doubtful(), UP_TO_SIX), &interrupted, &mut Impatient(&interrupted, 2));
    assert!(outcome.interrupted && outcome.decision == Decision::Invalid);
    let check = both_ways(&outcome);
    assert_eq!(check.not_carried_out.as_deref(), Some("broken off: the run was interrupted"));
    assert_eq!(check.decision, Decision::Undecided);
    assert_eq!(check.rounds.as_ref().map(|rounds| rounds.done), Some(1));
    assert!(check.requirements[0].readings.iter().all(|reading| reading.result.is_ok()), "{:?}", check.requirements);
}

/// Hands a capture on, and lets something happen in the second round of the last check.
struct Meddling<'a, 'p> {
    assessor: &'a mut Assessor<'p>,
    rounds: usize,
    happens: Option<Happens>,
}

enum Happens {
    GivenUp,
    Lost,
}

impl CaptureSink for Meddling<'_, '_> {
    fn part(&mut self, part: &Part) {
        self.assessor.part(part);
    }

    fn mark(&mut self, mark: &Mark) {
        self.assessor.mark(mark);
        self.rounds += usize::from(matches!(mark.kind, MarkKind::RoundEnds { .. }));
        if self.rounds == 1 && matches!(mark.kind, MarkKind::Cue(Cue::Commanded)) {
            let given_up = MarkKind::Cue(Cue::GivenUp { why: "the unit did not answer `GO R 90.0`".into() });
            let lost = Loss { at: mark.at, what: "7 frames of the capture board".into() };
            match self.happens.take() {
                Some(Happens::GivenUp) => self.assessor.mark(&Mark { kind: given_up, ..mark.clone() }),
                Some(Happens::Lost) => self.assessor.part(&Part { losses: vec![lost], ..Part::default() }),
                None => {}
            }
        }
    }
}

/// What a round proves, good rounds before and after it do not undo.
#[test]
fn a_round_that_was_given_up_or_lost_is_not_made_good_by_others() {
    let simulated = plan(doubtful(), UP_TO_SIX);
    let mut kept = Kept(CaptureWriter::new(Vec::new(), simulated.setup.jig.ticks_per_second).expect("it writes"));
    assert_eq!(simulated.run(&world(), &mut kept).decision, Decision::Conforms);
    let file = kept.0.finish().expect("it is written");
    let judged = |happens| {
        let mut assessor = Assessor::new(&simulated.plan, simulated.setup.clone());
        let mut meddling = Meddling { assessor: &mut assessor, rounds: 0, happens };
        CaptureReader::open(&file[..]).expect("it opens").replay(&mut meddling).expect("it reads");
        assessor.outcome(Ending::default())
    };
    assert_eq!(judged(None).decision, Decision::Conforms);
    let given_up = judged(Some(Happens::GivenUp));
    assert_eq!(given_up.decision, Decision::DoesNotConform);
    assert_eq!(both_ways(&given_up).findings, ["the unit did not answer `GO R 90.0`"]);
    let lost = judged(Some(Happens::Lost));
    assert_eq!((lost.decision, both_ways(&lost).decision), (Decision::Invalid, Decision::Invalid));
}
