//! Firmwares of quite different habits are driven by their unit files alone: one that takes single characters at any time and
//! raises alarms, and one that never says a word. The stand-ins here share no code with the dialect.

#[path = "common/scripted.rs"]
mod scripted;

use railproof::capture::{Cue, MarkKind};
use railproof::decide::Decision;
use railproof::event::RunOutcome;
use railproof::run::Answering;
use scripted::{Firmware, Fitted, MILLISECOND, Marks, Said, Scripted, Unwatched, says};

const TRAVEL: f64 = 0.38;

const CHECKS: &str = "checks:
  - name: every word
    moves:
      - power: on
      - home: left
      - travel: { to: right, speed: 40 mm/s }
      - travel: { to: 190 mm, speed: 20 mm/s }
      - travel: { by: -50.4 mm, speed: 20 mm/s }
      - select: 2
      - crawl: { towards: right, for: 5 s }
      - stop: { towards: right, speed: 30 mm/s, after: 3 s }
    require:
      unanswered commands: at most 0
      refused commands: at most 0
  - name: afterwards
    moves:
      - travel: { to: left, speed: 40 mm/s }
    require:
      unanswered commands: at most 0
";
/// How long its motions take at least, s: homing from wherever is not in it.
const MOTIONS_S: f64 = 380.0 / 40.0 + 190.0 / 20.0 + 50.4 / 20.0 + 5.0 + 3.0 + (190.0 - 50.4 + 90.0) / 40.0;

/// Where a carriage goes.
#[derive(Default, Clone, Copy)]
struct Motion {
    from: f64,
    to: f64,
    begins: u64,
    ends: u64,
}

impl Motion {
    fn position(&self, at: u64) -> f64 {
        if at >= self.ends {
            return self.to;
        }
        self.from + (self.to - self.from) * (at - self.begins) as f64 / (self.ends - self.begins) as f64
    }

    fn go(&mut self, at: u64, to: f64, speed: f64) {
        let from = self.position(at);
        let takes = ((to - from).abs() / speed * 1e9) as u64;
        *self = Self { from, to, begins: at, ends: at + takes };
    }

    fn stop(&mut self, at: u64) {
        let here = self.position(at);
        *self = Self { from: here, to: here, begins: at, ends: at };
    }
}

fn carried_out(unit: &str, firmware: impl Firmware + 'static) -> (RunOutcome, Vec<String>, Vec<MarkKind>) {
    let bench = Scripted::new(firmware);
    let mut marks = Marks::default();
    let fitted = Fitted::new(&format!("tests/data/units/{unit}.yaml"), |file| file, CHECKS);
    let outcome = fitted.run(&bench, &mut Answering::new(Vec::new(), true), &mut marks, &mut Unwatched);
    let told = bench.0.borrow().told.clone();
    (outcome, told, marks.0)
}

/// The Heron takes lines that end with CR, and the single character `=` at any time.
#[derive(Default)]
struct Heron {
    motion: Motion,
    stuck: bool,
    /// Raises an alarm in its so manieth motion.
    alarm_in: Option<u32>,
    motions: u32,
}

impl Heron {
    fn goes(&mut self, at: u64, to: f64, speed: f64) -> Vec<Said> {
        if self.stuck {
            return vec![says(2, "nay 9")];
        }
        self.motion.go(at, to, speed);
        self.motions += 1;
        let mut said = vec![says(2, "aye")];
        if self.alarm_in == Some(self.motions) {
            self.stuck = true;
            let ends = at + 300 * MILLISECOND;
            self.motion = Motion { to: self.motion.position(ends), ends, ..self.motion };
            said.push((300 * MILLISECOND, b"mayday 4\r".to_vec()));
        }
        said
    }
}

impl Firmware for Heron {
    fn wakes(&mut self) -> Vec<Said> {
        *self = Self { alarm_in: self.alarm_in, motions: self.motions, ..Self::default() };
        vec![(400 * MILLISECOND, b"heron 7.0\r".to_vec())]
    }

    fn told(&mut self, at: u64, line: &str) -> Vec<Said> {
        if line == "=" {
            let state = if self.stuck {
                "stuck"
            } else if at < self.motion.ends {
                "busy"
            } else {
                "idle"
            };
            return vec![says(2, &format!("[{state} {:.3}]", self.motion.position(at) * 1e3))];
        }
        let words: Vec<&str> = line.split(' ').collect();
        let speed = || words[2].trim_start_matches('@').parse::<f64>().expect("mm/min") / 60e3;
        let end = || if words[1] == "port" { 0.0 } else { TRAVEL };
        let number = || words[1].parse::<f64>().expect("mm") * 1e-3;
        match words[0] {
            "seek" => self.goes(at, end(), 0.01),
            "run" => self.goes(at, end(), speed()),
            "to" => self.goes(at, number(), speed()),
            "by" => self.goes(at, self.motion.position(at) + number(), speed()),
            "lapse" => self.goes(at, end(), 1e-4),
            "gear" => vec![says(2, "aye")],
            "halt" => {
                self.motion.stop(at);
                vec![says(2, "aye")]
            }
            _ => vec![says(2, "nay 1")],
        }
    }
}

#[test]
fn a_firmware_of_single_characters_is_understood() {
    let (outcome, told, _) = carried_out("heron-900", Heron::default());
    assert_eq!(outcome.decision, Decision::Conforms, "{:?} {:?}", outcome.invalid_because, outcome.checks[0].findings);
    let words: Vec<&str> = told.iter().map(String::as_str).filter(|line| *line != "=").collect();
    let expected = [
        "seek port",
        "run starboard @2400.0",
        "to 190.000 @1200.0",
        "by -50.400 @1200.0",
        "gear 2",
        "lapse starboard",
        "halt",
        "run starboard @1800.0",
        "halt",
        "run port @2400.0",
    ];
    assert_eq!(words, expected);
    assert!(told.len() > 100 + expected.len(), "its state was asked for while it moved");
    assert!(outcome.took_s > MOTIONS_S, "{} s", outcome.took_s);
}

#[test]
fn an_alarm_is_the_unit_s_and_ends_the_check() {
    let (outcome, told, _) = carried_out("heron-900", Heron { alarm_in: Some(3), ..Heron::default() });
    assert_eq!(outcome.decision, Decision::DoesNotConform, "{:?}", outcome.invalid_because);
    assert_eq!(outcome.checks[0].findings, ["the unit stopped by itself: `mayday 4`"]);
    // Started afresh, it takes part in what follows.
    assert_eq!(outcome.checks[1].decision, Decision::Conforms, "{:?}", outcome.checks[1].findings);
    assert_eq!(told.iter().filter(|line| *line == "seek port").count(), 2);
}

/// The Dipper hears and never answers.
#[derive(Default)]
struct Dipper {
    motion: Motion,
    moved: bool,
}

impl Dipper {
    /// Steps are 10 µm, and of those a script needs no more than every twentieth.
    const SEEN_STEP: f64 = 20.0 * 1e-5;

    fn goes(&mut self, at: u64, to: f64, speed: f64) {
        self.motion.go(at + 30 * MILLISECOND, to, speed);
        self.moved = true;
    }
}

impl Firmware for Dipper {
    fn wakes(&mut self) -> Vec<Said> {
        Vec::new()
    }

    fn told(&mut self, at: u64, line: &str) -> Vec<Said> {
        let (letter, rest) = line.split_at(1);
        let end = if rest.starts_with('0') { 0.0 } else { TRAVEL };
        let numbers: Vec<f64> = rest.split(',').filter_map(|number| number.parse().ok()).collect();
        match letter {
            "H" => self.goes(at, end, 0.01),
            "E" => self.goes(at, end, rest[1..].parse::<f64>().expect("0.1 mm/s") * 1e-4),
            "P" => self.goes(at, numbers[0] * 1e-5, numbers[1] * 1e-4),
            "D" => self.goes(at, self.motion.position(at) + numbers[0] * 1e-5, numbers[1] * 1e-4),
            "C" => self.goes(at, end, 1e-3),
            "S" => {
                self.motion.stop(at);
                self.moved = true;
            }
            "G" => {}
            _ => panic!("{line}"),
        }
        Vec::new()
    }

    fn steps(&mut self) -> Option<Vec<u64>> {
        std::mem::take(&mut self.moved).then(|| {
            let Motion { from, to, begins, ends } = self.motion;
            let steps = ((to - from).abs() / Self::SEEN_STEP) as u64;
            (0..steps).map(|step| begins + (ends - begins) * step / steps).collect()
        })
    }
}

#[test]
fn a_firmware_that_never_speaks_is_watched_on_its_wires() {
    let (outcome, told, marks) = carried_out("dipper-300", Dipper { motion: at_rest_in_the_middle(), moved: false });
    assert_eq!(outcome.decision, Decision::Conforms, "{:?} {:?}", outcome.invalid_because, outcome.checks[0].findings);
    assert_eq!(told, ["H0", "E1400", "P19000,200", "D-5040,200", "G2", "C1", "S", "E1300", "S", "E0400"]);
    assert!(outcome.took_s > MOTIONS_S + 19.0, "nobody took a moving motor for a resting one: {} s", outcome.took_s);
    assert!(outcome.took_s < MOTIONS_S + 19.0 + 10.0, "nor did the bench wait in vain: {} s", outcome.took_s);
    assert_eq!(marks.iter().filter(|mark| **mark == MarkKind::Cue(Cue::Done)).count(), 7);
}

/// Homing from here takes 19 s at 10 mm/s.
fn at_rest_in_the_middle() -> Motion {
    Motion { from: 0.19, to: 0.19, ..Motion::default() }
}
