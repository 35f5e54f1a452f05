//! What goes wrong while a run goes: whatever it is, the bench is safe at its end and the outcome says so.

#[path = "common/scripted.rs"]
mod scripted;

use railproof::capture::OutputChannel::{self, DummyLoad, LowPack, UnitSupply};
use railproof::capture::{CaptureSink, Mark, MarkKind, Part};
use railproof::decide::Decision;
use railproof::event::{Event, RunOutcome, Watcher};
use railproof::run::{Answering, Evidence};
use scripted::{Firmware, Fitted, MILLISECOND, Marks, Said, Scripted, Unwatched, says};

/// A Dunlin that is at rest for ever: it says who it is and acknowledges everything.
#[derive(Default)]
struct Resting {
    /// What its line makes of being without supply.
    noise: Vec<u8>,
    /// The line that it does not answer.
    deaf_to: &'static str,
}

impl Firmware for Resting {
    fn wakes(&mut self) -> Vec<Said> {
        vec![says(800, "DUNLIN 600 READY FW 1.4.0 SN SP-0001")]
    }

    fn sleeps(&mut self) -> Vec<Said> {
        vec![(MILLISECOND, self.noise.clone())]
    }

    fn told(&mut self, _: u64, line: &str) -> Vec<Said> {
        match line {
            "WHO" => vec![says(2, "I AM DUNLIN 600 FW 1.4.0 SN SP-0001")],
            deaf if deaf == self.deaf_to => Vec::new(),
            "HOME L" => vec![says(2, "OK HOME L"), says(90, "HIT L"), says(100, "DONE HOME 0.00")],
            other => vec![says(2, &format!("OK {other}"))],
        }
    }
}

fn plan(checks: &[(&str, &[&str])]) -> Fitted {
    let mut text = "checks:\n".to_owned();
    for (name, moves) in checks {
        text += &format!("  - name: {name}\n    moves:\n");
        moves.iter().for_each(|planned| text += &format!("      - {planned}\n"));
        text += "    require: { unexpected restarts: at most 0 }\n";
    }
    Fitted::new("fixtures/units/dunlin-600.yaml", |file| file.replace("SM-", "SP-"), &text)
}

fn yes() -> Answering {
    Answering::new(Vec::new(), true)
}

fn run(checks: &[(&str, &[&str])], bench: &Scripted) -> RunOutcome {
    plan(checks).run(bench, &mut yes(), &mut Marks::default(), &mut Unwatched)
}

fn assert_off(bench: &Scripted) {
    assert_eq!(bench.0.borrow().on, Vec::<OutputChannel>::new(), "everything is off");
}

fn assert_safe(bench: &Scripted) {
    assert_off(bench);
    assert!(bench.0.borrow().switched.contains(&(UnitSupply, true)), "the unit was supplied before");
}

/// Panics on the n-th thing that it is told.
struct Panicking(usize);

impl Panicking {
    fn count(&mut self) {
        assert!(self.0 > 0, "the screen fell off the wall");
        self.0 -= 1;
    }
}

impl Watcher for Panicking {
    fn see(&mut self, event: &Event<'_>) {
        match event {
            Event::Live(_) => {}
            _ => self.count(),
        }
    }
}

impl CaptureSink for Panicking {
    fn part(&mut self, _: &Part) {}

    fn mark(&mut self, _: &Mark) {
        self.count();
    }
}

impl Evidence for Panicking {
    fn secure(&mut self) -> Result<(), String> {
        Ok(())
    }
}

#[test]
fn a_panic_anywhere_makes_the_run_invalid_and_the_bench_safe() {
    let checks: &[(&str, &[&str])] = &[("a", &["power: on", "home: left"]), ("b", &["wait: 1 s"])];
    let fitted = plan(checks);
    let assert_invalid = |outcome: &RunOutcome| {
        assert_eq!(outcome.decision, Decision::Invalid);
        assert!(outcome.invalid_because[0].contains("fell off the wall"), "{:?}", outcome.invalid_because);
        assert_eq!(outcome.checks.len(), 2, "every check is told of");
    };
    // Run, check and two moves begin, the check ends, check and move begin, the check ends, the run ends.
    for told in 0..9 {
        let bench = Scripted::new(Resting::default());
        let outcome = fitted.run(&bench, &mut yes(), &mut Marks::default(), &mut Panicking(told));
        assert_invalid(&outcome);
        assert_off(&bench);
    }
    for marks in [2, 5, 9] {
        let bench = Scripted::new(Resting::default());
        let outcome = fitted.run(&bench, &mut yes(), &mut Panicking(marks), &mut Unwatched);
        assert_invalid(&outcome);
        assert_off(&bench);
    }
    let bench = Scripted::new(Resting::default());
    assert_eq!(run(checks, &bench).decision, Decision::Conforms);
    assert_safe(&bench);
}

#[test]
fn a_check_that_is_given_up_leaves_nothing_on_and_the_next_finds_what_the_plan_has_there() {
    let checks: &[(&str, &[&str])] = &[
        ("load", &["power: on", "load: on", "select: 2", "load: off"]),
        ("low", &["pack: nearly empty", "select: 3"]),
        ("after", &["wait: 1 s"]),
    ];
    let (supply, load, low) = (UnitSupply, DummyLoad, LowPack);
    // Given up under load; then the plan exchanges the pack.
    let under_load = [
        (supply, true),
        (load, true),
        (supply, false),
        (load, false),
        (supply, true),
        (supply, false),
        (low, true),
        (supply, true),
        (low, false),
        (supply, false),
    ];
    // Given up on the nearly empty pack, which the plan still has there in its next check.
    let on_the_low_pack = [
        (supply, true),
        (load, true),
        (load, false),
        (supply, false),
        (low, true),
        (supply, true),
        (low, false),
        (supply, false),
        (low, true),
        (supply, true),
        (low, false),
        (supply, false),
    ];
    for (deaf_to, switched) in [("LEVEL 2", &under_load[..]), ("LEVEL 3", &on_the_low_pack[..])] {
        let bench = Scripted::new(Resting { deaf_to, ..Resting::default() });
        let outcome = run(checks, &bench);
        assert_eq!(outcome.decision, Decision::DoesNotConform, "{:?}", outcome.invalid_because);
        assert_eq!(outcome.checks.iter().filter(|check| check.findings.is_empty()).count(), 2, "{deaf_to}");
        assert_eq!(bench.0.borrow().switched, switched, "{deaf_to}");
    }
}

#[test]
fn a_unit_that_fails_in_the_last_check_is_rejected_and_left_without_supply() {
    let bench = Scripted::new(Resting { deaf_to: "LEVEL 2", ..Resting::default() });
    let outcome = run(&[("a", &["power: on"]), ("b", &["select: 2"])], &bench);
    assert_eq!(outcome.decision, Decision::DoesNotConform);
    assert!(outcome.checks[1].findings[0].contains("did not answer `LEVEL 2`"), "{:?}", outcome.checks[1].findings);
    assert_safe(&bench);
    let on = bench.0.borrow().switched.iter().filter(|one| **one == (UnitSupply, true)).count();
    assert_eq!(on, 1, "nobody starts a unit afresh for nothing");
}

#[test]
fn a_line_that_floats_without_supply_says_nothing() {
    let noise = b"\xf0\x9f\r\n~~\r\n".to_vec();
    let bench = Scripted::new(Resting { noise, deaf_to: "LEVEL 2" });
    let outcome = run(&[("a", &["power: on", "power: off", "wait: 1 s"]), ("b", &["power: on", "select: 2"])], &bench);
    assert_eq!(outcome.invalid_because, Vec::<String>::new());
    assert_eq!(outcome.checks[0].decision, Decision::Conforms);
    assert_eq!(outcome.decision, Decision::DoesNotConform, "the unit's own silence is found all the same");
}

/// A Dunlin whose link garbles a command twice: first in the middle, so that it is refused, then at its end, so that it is
/// taken for the beginning of the next line.
#[derive(Default)]
struct Misheard {
    times: u32,
}

impl Firmware for Misheard {
    fn wakes(&mut self) -> Vec<Said> {
        Resting::default().wakes()
    }

    fn told(&mut self, at: u64, line: &str) -> Vec<Said> {
        let refused = || vec![says(2, "NO 1 no such command")];
        self.times += u32::from(line == "LEVEL 2");
        match (line, self.times) {
            ("LEVEL 2", 1) => refused(),
            ("LEVEL 2", _) => Vec::new(),
            ("STATE", 1..) => refused(),
            _ => Resting::default().told(at, line),
        }
    }
}

#[test]
fn a_refusal_and_then_silence_may_be_the_links() {
    let outcome = run(&[("a", &["power: on", "select: 2"])], &Scripted::new(Misheard::default()));
    let why =
        "the unit link is garbled: after a command without an answer, `STATE` was answered `NO 1 no such command`";
    assert!(outcome.invalid_because[0].starts_with(why), "{:?}", outcome.invalid_because);
    assert_eq!(outcome.decision, Decision::Invalid);
}

#[test]
fn a_unit_that_talks_without_end_holds_up_neither_interlock_nor_deadline() {
    let floods: [&[u8]; 3] = [b"HIT L\n".as_slice(), b"\n\n\n", b"KEY knob push\nHIT R\n"];
    for flood in floods {
        let bench = Scripted::new(Resting::default());
        bench.0.borrow_mut().guard_opens = Some(20_000 * MILLISECOND);
        let mut flooding = Flooding { bench: bench.clone(), flood };
        let checks: &[(&str, &[&str])] = &[("a", &["power: on", "wait: 5 s", "wait: 60 s"])];
        let outcome = plan(checks).run(&bench, &mut yes(), &mut Marks::default(), &mut flooding);
        assert_eq!(outcome.decision, Decision::Invalid);
        assert!(outcome.invalid_because[0].contains("guard is open"), "{:?}", outcome.invalid_because);
        assert!(outcome.took_s < 20.5, "{} s", outcome.took_s);
        assert_eq!(outcome.checks[0].moves[1].ended_s.round(), outcome.checks[0].moves[1].began_s.round() + 5.0);
        assert_safe(&bench);
    }
}

/// Lets the unit talk without end once it waits.
struct Flooding {
    bench: Scripted,
    flood: &'static [u8],
}

impl Watcher for Flooding {
    fn see(&mut self, event: &Event<'_>) {
        if matches!(event, Event::MoveBegins { ordinal: 1, .. }) {
            self.bench.0.borrow_mut().flood = Some(self.flood.to_vec());
        }
    }
}

#[test]
fn a_question_that_nobody_can_answer_ends_the_run() {
    let bench = Scripted::new(Resting::default());
    let fitted = plan(&[("a", &["power: on", "ask: Is the belt path straight?"])]);
    let nobody = &mut Answering::new(Vec::new(), false);
    let outcome = fitted.run(&bench, nobody, &mut Marks::default(), &mut Unwatched);
    assert_eq!(outcome.decision, Decision::Invalid);
    assert!(outcome.invalid_because[0].contains("nobody is at the terminal"), "{:?}", outcome.invalid_because);
    assert_safe(&bench);
}

#[test]
fn what_answers_a_question_is_no_leave_to_take_a_command_as_heard() {
    struct Late(Resting);
    impl Firmware for Late {
        fn wakes(&mut self) -> Vec<Said> {
            self.0.wakes()
        }
        fn told(&mut self, at: u64, line: &str) -> Vec<Said> {
            if line == "HOME L" { vec![says(2, "STATE REST L3 AT 0.00 PACK 7.42")] } else { self.0.told(at, line) }
        }
    }
    let mut marks = Marks::default();
    let bench = Scripted::new(Late(Resting::default()));
    let fitted = plan(&[("a", &["power: on", "home: left"])]);
    let outcome = fitted.run(&bench, &mut yes(), &mut marks, &mut Unwatched);
    let finding = &outcome.checks[0].findings[0];
    assert!(finding.contains("did not answer `HOME L`"), "{finding}");
    assert!(marks.0.iter().any(|mark| matches!(mark, MarkKind::Cue(_))));
}
