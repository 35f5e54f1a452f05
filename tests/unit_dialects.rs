//! A firmware unlike the Dunlin's is driven by its unit file alone: the Plover 400 acknowledges with a word, counts speed in
//! mm/min, positions in steps and distances in tenths of a millimetre, and has to be asked whether it rests.

#[path = "common/scripted.rs"]
mod scripted;

use railproof::capture::{Cue, MarkKind};
use railproof::decide::Decision;
use railproof::event::RunOutcome;
use railproof::run::Answering;
use scripted::{Firmware, Fitted, MILLISECOND, Marks, Said, Scripted, Unwatched, says};

const TRAVEL: f64 = 0.38;
/// 0.9° steps, 8 microsteps, 16 teeth of 2 mm: 3200 steps a turn of 32 mm.
const STEPS_PER_METRE: f64 = 100_000.0;

/// The Plover's firmware, as far as its words go.
#[derive(Default)]
struct Plover {
    /// Where and when its motion began and ends, m and ns.
    motion: [(f64, u64); 2],
    /// Says its word before it answers a question as well.
    acknowledges_questions: bool,
    /// Says nothing to commands that it carries out.
    never_acknowledges: bool,
    /// Commands of this letter that it does not hear, and how many times yet.
    deaf_to: Option<(char, u32)>,
    /// Says every line back before it answers.
    echoes: bool,
    /// Its words come a character at a time.
    stammers: bool,
    /// How much later than others it says its word, ms.
    slow_ms: u64,
    /// Starts afresh a second after it is told to go to a position.
    restarts: bool,
}

impl Plover {
    fn position(&self, at: u64) -> f64 {
        let [(from, begins), (to, ends)] = self.motion;
        if at >= ends { to } else { from + (to - from) * (at - begins) as f64 / (ends - begins) as f64 }
    }

    fn goes(&mut self, at: u64, target: f64, speed: f64) -> Vec<Said> {
        let from = self.position(at);
        let takes = ((target - from).abs() / speed * 1e9) as u64;
        self.motion = [(from, at), (target, at + takes)];
        let mut said = self.fine();
        if target == 0.0 || target == TRAVEL {
            said.push((takes, if target == 0.0 { b"end -\r\n".to_vec() } else { b"end +\r\n".to_vec() }));
        }
        said
    }

    fn fine(&self) -> Vec<Said> {
        if self.never_acknowledges { Vec::new() } else { vec![says(3 + self.slow_ms, "fine")] }
    }
}

impl Firmware for Plover {
    fn wakes(&mut self) -> Vec<Said> {
        // A line that glitches while the supply rises, without an end of its own.
        let glitch = (MILLISECOND, vec![0x00, 0xff, 0x00]);
        vec![glitch, says(500, "awake 2.1 SP-0001"), says(510, "# dial at 2")]
    }

    fn told(&mut self, at: u64, line: &str) -> Vec<Said> {
        let mut said = self.does(at, line);
        if self.restarts && line.starts_with('m') {
            said.push(says(1000, "awake 2.1 SP-0001"));
        }
        if self.echoes {
            said.insert(0, says(1, line));
        }
        if self.stammers {
            let apart = |(after, bytes): Said| (0..).zip(bytes).map(move |(place, byte)| (after + place, vec![byte]));
            said = said.into_iter().flat_map(apart).collect();
        }
        said
    }
}

impl Plover {
    fn does(&mut self, at: u64, line: &str) -> Vec<Said> {
        let (letter, rest) = line.split_at(1);
        if let Some((deaf, times)) = &mut self.deaf_to
            && *times > 0
            && letter.starts_with(*deaf)
        {
            *times -= 1;
            return Vec::new();
        }
        let speed =
            rest.split_once(" f").map_or(10.0, |(_, speed)| speed.parse::<f64>().expect("mm/min") / 60.0) * 1e-3;
        let number = || rest.split(' ').next().expect("a number").parse::<f64>().expect("a number");
        let end = if rest.starts_with('-') { 0.0 } else { TRAVEL };
        match letter {
            "q" => {
                let mut said = if self.acknowledges_questions { self.fine() } else { Vec::new() };
                said.push(says(5, if at < self.motion[1].1 { "is moving" } else { "is still" }));
                said
            }
            "h" => self.goes(at, end, 0.01),
            "e" => self.goes(at, end, speed),
            "m" => self.goes(at, number() / STEPS_PER_METRE, speed),
            "d" => self.goes(at, self.position(at) + number() * 1e-4, speed),
            "v" => self.fine(),
            "t" => self.goes(at, end, 1e-4),
            "s" => {
                let here = self.position(at);
                self.motion = [(here, at), (here, at + 50 * MILLISECOND)];
                self.fine()
            }
            _ => vec![says(3, "fault 1")],
        }
    }
}

const CHECKS: &str = "checks:
  - name: every word
    moves:
      - power: on
      - home: left
      - travel: { to: right, speed: 40 mm/s }
      - travel: { to: 190 mm, speed: 20 mm/s }
      - travel: { by: -50.4 mm, speed: 20 mm/s }
      - select: 2
      - travel: { to: left, level: 3 }
      - crawl: { towards: right, for: 5 s }
      - stop: { towards: right, speed: 30 mm/s, after: 3 s }
      - reverse: { first: right, speed: 10 mm/s, after: 3 s }
    require:
      unanswered commands: at most 0
      refused commands: at most 0
      unexpected restarts: at most 0
      wrong reports: at most 0
";

/// What a Plover is told by the plan, its state apart.
const TOLD: [&str; 13] = [
    "h-",
    "e+ f2400",
    "m19000 f1200",
    "d-504 f1200",
    "v2",
    "e- f2400",
    "t+",
    "s",
    "e+ f1800",
    "s",
    "e+ f600",
    "e- f600",
    "q",
];

fn carried_out(unit_file: impl FnOnce(String) -> String, plover: Plover) -> (RunOutcome, Vec<String>, Vec<MarkKind>) {
    let bench = Scripted::new(plover);
    let mut marks = Marks::default();
    let fitted = Fitted::new("fixtures/units/plover-400.yaml", unit_file, CHECKS);
    let outcome = fitted.run(&bench, &mut Answering::new(Vec::new(), true), &mut marks, &mut Unwatched);
    let mut told = bench.0.borrow().told.clone();
    assert!(told.iter().filter(|line| *line == "q").count() > 100, "the state was asked for while it moved");
    told.retain(|line| line != "q");
    told.push("q".into());
    (outcome, told, marks.0)
}

fn assert_done(outcome: &RunOutcome, told: &[String]) {
    let check = &outcome.checks[0];
    assert_eq!(outcome.decision, Decision::Conforms, "{:?} {:?}", outcome.invalid_because, check.findings);
    assert_eq!(told, TOLD);
    let firmware = ("firmware".to_owned(), "2.1".to_owned());
    assert!(outcome.reports.contains(&firmware), "{:?}", outcome.reports);
}

#[test]
fn a_firmware_of_other_words_and_units_works_without_code() {
    let (outcome, told, marks) = carried_out(|file| file, Plover::default());
    assert_done(&outcome, &told);
    let done = marks.iter().filter(|mark| **mark == MarkKind::Cue(Cue::Done)).count();
    // One for every motion: home, four travels, crawl, stop, reverse.
    assert_eq!(done, 8);
    // 380 mm at 40 mm/s, 190 and 50.4 mm at 20 mm/s, 139.6 mm at 40 mm/s, 5 s of crawl, 3 s, 3 s, and 120 mm back at 10 mm/s:
    // nobody took a moving carriage for a resting one.
    assert!(outcome.took_s > 9.5 + 12.0 + 3.4 + 5.0 + 3.0 + 3.0 + 12.0, "{} s", outcome.took_s);
}

#[test]
fn a_firmware_that_acknowledges_questions_too_is_understood() {
    let (outcome, told, _) = carried_out(|file| file, Plover { acknowledges_questions: true, ..Plover::default() });
    assert_done(&outcome, &told);
}

/// Lines that are said back, that come in pieces or late are as good as others.
#[test]
fn echoes_pieces_and_slow_answers_are_borne() {
    for plover in [
        Plover { echoes: true, ..Plover::default() },
        Plover { stammers: true, ..Plover::default() },
        Plover { slow_ms: 250, ..Plover::default() },
        Plover { echoes: true, stammers: true, slow_ms: 150, acknowledges_questions: true, ..Plover::default() },
    ] {
        let (outcome, told, _) = carried_out(|file| file, plover);
        assert_done(&outcome, &told);
    }
}

/// An answer that is later than the unit file allows is no answer: what may be told twice is told again and counted, and the late
/// word does no harm.
#[test]
fn an_answer_that_comes_too_late_is_counted() {
    let (outcome, told, _) = carried_out(
        |file| file.replace("within: 300 ms", "within: 40 ms"),
        Plover { slow_ms: 60, ..Plover::default() },
    );
    assert_eq!(outcome.decision, Decision::DoesNotConform, "{:?}", outcome.invalid_because);
    assert!(told.iter().filter(|line| *line == "v2").count() <= 2, "{told:?}");
}

#[test]
fn a_unit_that_starts_afresh_in_the_middle_does_not_conform_and_goes_without_supply() {
    let bench = Scripted::new(Plover { restarts: true, ..Plover::default() });
    let fitted = Fitted::new("fixtures/units/plover-400.yaml", |file| file, CHECKS);
    let mut marks = Marks::default();
    let outcome = fitted.run(&bench, &mut Answering::new(Vec::new(), true), &mut marks, &mut Unwatched);
    assert_eq!(outcome.decision, Decision::DoesNotConform, "{:?}", outcome.invalid_because);
    let findings = &outcome.checks[0].findings;
    assert!(findings.iter().any(|finding| finding.contains("started afresh by itself")), "{findings:?}");
    assert!(marks.0.contains(&MarkKind::Cue(Cue::Restarted)));
    assert!(bench.0.borrow().on.is_empty(), "it is left without supply");
}

#[test]
fn a_firmware_that_acknowledges_nothing_is_understood() {
    let without = |file: String| file.replace("  acknowledged: \"^fine$\"\n", "");
    let (outcome, told, _) = carried_out(without, Plover { never_acknowledges: true, ..Plover::default() });
    assert_done(&outcome, &told);
}

#[test]
fn a_firmware_without_a_banner_is_given_its_time() {
    let without = |file: String| {
        let from = file.find("  banner:").expect("it has one");
        let to = from + file[from..].find('\n').expect("an end") + 1;
        let remark = file[to..].replace("remarks: [ \"^#\" ]", "remarks: [ \"^#\", \"^awake\" ]");
        format!("{}{remark}", &file[..from])
    };
    let bench = Scripted::new(Plover::default());
    let checks = "checks:\n  - name: wakes\n    moves:\n      - power: on\n      - home: left\n    require:\n      unanswered commands: at most 0\n";
    let fitted = Fitted::new("fixtures/units/plover-400.yaml", without, checks);
    let operator = &mut Answering::new(Vec::new(), true);
    let outcome = fitted.run(&bench, operator, &mut Marks::default(), &mut Unwatched);
    assert_eq!(outcome.decision, Decision::Conforms, "{:?}", outcome.invalid_because);
    assert!(outcome.took_s > 3.0, "the unit file gives it 3 s");
}

#[test]
fn a_command_that_went_unheard_is_said_again_and_counted() {
    let (outcome, told, _) = carried_out(|file| file, Plover { deaf_to: Some(('v', 1)), ..Plover::default() });
    assert_eq!(told.iter().filter(|line| *line == "v2").count(), 2);
    assert_eq!(outcome.decision, Decision::DoesNotConform);
    assert!(outcome.checks[0].findings.is_empty(), "it was carried out: {:?}", outcome.checks[0].findings);
}
