//! What a unit's firmware is told and what it answers, as templates and patterns of a unit file.
//!
//! A template such as `GO {side} {speed}` has slots; a slot's form says in which unit and with how many decimals its
//! number is written, so that a firmware which counts in mm/min, in steps or in tenths of a millimetre is described as
//! easily as one that counts in mm/s. A pattern is a regular expression over one line; its named groups (`position`,
//! `side`, `state`, `firmware`, `serial`, `model`, `code`, `why`) carry what it says. `{command}` in the pattern of the
//! acknowledgement stands for the command as it was sent: where a firmware echoes, a garbled command shows.

use crate::capture::Side;
use regex::{Captures, Regex};
use std::time::Duration;

/// Characters of an unknown line that a message shows.
const SHOWN_MAX: usize = 80;

/// What the bench may ask of a unit. Lengths in m, speeds in m/s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Request {
    /// Slow run to an end.
    Home { side: Side },
    /// To an end at a speed.
    ToEnd { side: Side, speed: f64 },
    /// To a position from the left end.
    ToPosition { position: f64, speed: f64 },
    /// By a distance, positive to the right.
    By { distance: f64, speed: f64 },
    /// To an end at the selected level's speed.
    Run { side: Side },
    /// Selects a level, counted from 1.
    Select { level: u8 },
    /// Time-lapse motion towards an end.
    Crawl { side: Side },
    /// Stops.
    Stop,
    /// Asks for the state.
    State,
    /// Asks who it is.
    Identity,
}

impl Request {
    /// Keys of the commands in a unit file, in the order of [`Request::index`], each with the slots that it must have.
    pub const KEYS: [(&'static str, &'static [&'static str]); 10] = [
        ("home", &["side"]),
        ("to end", &["side", "speed"]),
        ("to position", &["position", "speed"]),
        ("by", &["distance", "speed"]),
        ("run", &["side"]),
        ("select", &["level"]),
        ("crawl", &["side"]),
        ("stop", &[]),
        ("state", &[]),
        ("identity", &[]),
    ];

    /// Its key in a unit file.
    pub fn key(&self) -> &'static str {
        Self::KEYS[self.index()].0
    }

    const fn index(&self) -> usize {
        match self {
            Self::Home { .. } => 0,
            Self::ToEnd { .. } => 1,
            Self::ToPosition { .. } => 2,
            Self::By { .. } => 3,
            Self::Run { .. } => 4,
            Self::Select { .. } => 5,
            Self::Crawl { .. } => 6,
            Self::Stop => 7,
            Self::State => 8,
            Self::Identity => 9,
        }
    }

    /// Whether asking twice does the same as asking once, so that an unanswered request may be sent again.
    pub const fn may_be_repeated(&self) -> bool {
        !matches!(self, Self::By { .. })
    }
}

/// How numbers of one kind are written: `value = SI value × per_si`, rounded to `decimals`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NumberForm {
    /// Firmware's number for one SI unit: 1000 for mm, 60000 for mm/min, 80000 for steps at 80 steps/mm.
    pub per_si: f64,
    /// Digits after the point.
    pub decimals: usize,
}

impl NumberForm {
    fn write(&self, si: f64) -> String {
        let written = format!("{:.*}", self.decimals, si * self.per_si);
        // A rounded nothing must not keep its sign: firmware may refuse "-0".
        if written.trim_start_matches('-').chars().all(|digit| matches!(digit, '0' | '.')) {
            written.trim_start_matches('-').to_owned()
        } else {
            written
        }
    }

    fn read(&self, text: &str) -> Option<f64> {
        text.trim().parse::<f64>().ok().filter(|value| value.is_finite()).map(|value| value / self.per_si)
    }
}

/// The firmware's words for the two ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SideWords {
    pub left: String,
    pub right: String,
}

impl SideWords {
    fn word(&self, side: Side) -> &str {
        match side {
            Side::Left => &self.left,
            Side::Right => &self.right,
        }
    }

    fn side(&self, word: &str) -> Option<Side> {
        [Side::Left, Side::Right].into_iter().find(|side| self.word(*side) == word)
    }
}

/// A command's text with slots.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Template {
    pieces: Vec<Piece>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Piece {
    Text(String),
    Slot(String),
}

impl Template {
    /// Reads a template; `wanted` are the slots that it must have, and may not have others than.
    ///
    /// # Errors
    /// Says in words what is wrong with it.
    pub fn read(text: &str, wanted: &[&str]) -> Result<Self, String> {
        if text.chars().any(char::is_control) {
            return Err("a command is one line; leave its line ending to `line ending`".into());
        }
        let mut pieces = Vec::new();
        let mut rest = text;
        while let Some(open) = rest.find('{') {
            let close = rest[open..].find('}').ok_or("a `{` has no `}`")? + open;
            let slot = rest[open + 1..close].trim();
            if !wanted.contains(&slot) {
                let offer = match wanted {
                    [] => "none".to_owned(),
                    slots => slots.iter().map(|slot| format!("{{{slot}}}")).collect::<Vec<_>>().join(" and "),
                };
                return Err(format!("this command knows no slot {{{slot}}}; its slots: {offer}"));
            }
            if open > 0 {
                pieces.push(Piece::Text(rest[..open].to_owned()));
            }
            pieces.push(Piece::Slot(slot.to_owned()));
            rest = &rest[close + 1..];
        }
        if !rest.is_empty() {
            pieces.push(Piece::Text(rest.to_owned()));
        }
        match wanted.iter().find(|slot| !pieces.contains(&Piece::Slot((**slot).to_owned()))) {
            Some(missing) => Err(format!("the slot {{{missing}}} is missing")),
            None if pieces.is_empty() => Err("the command is empty".into()),
            None => Ok(Self { pieces }),
        }
    }

    fn fill(&self, mut value: impl FnMut(&str) -> String) -> String {
        self.pieces
            .iter()
            .map(|piece| match piece {
                Piece::Text(text) => text.clone(),
                Piece::Slot(slot) => value(slot),
            })
            .collect()
    }
}

/// Patterns of what a unit says.
#[derive(Debug, Clone)]
pub struct Answers {
    /// The command was heard and will be done. Without it, commands are taken as heard.
    pub acknowledged: Option<Regex>,
    /// The command will not be done.
    pub refused: Option<Regex>,
    /// The motion is over.
    pub done: Option<Regex>,
    /// The unit has stopped by itself and wants help.
    pub alarm: Option<Regex>,
    /// An end switch closed.
    pub hit: Option<Regex>,
    /// The unit has started.
    pub banner: Option<Regex>,
    /// Answer to the state request; its group `state` is looked up among the resting states.
    pub state: Option<Regex>,
    /// Values of `state` in which the carriage rests.
    pub resting: Vec<String>,
    /// Answer to the identity request.
    pub identity: Option<Regex>,
    /// Lines that mean nothing to the bench but are in order.
    pub remarks: Vec<Regex>,
}

/// How the bench learns that a motion is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MotionEnd {
    /// The unit reports it.
    Reported,
    /// The state is asked for until it rests.
    Asked,
    /// The unit tells nothing: its motor has made no step for so long, which is longer than the pause between two steps of
    /// any travel.
    Watched { quiet: Duration },
}

/// What a line turned out to be.
#[derive(Debug, Clone, PartialEq)]
pub enum Heard {
    /// The unit has started; what it said of itself by name.
    Banner(Vec<(String, String)>),
    /// The pending command was heard.
    Acknowledged,
    /// The pending command was refused.
    Refused { answer: String },
    /// The unit has stopped by itself and wants help.
    Alarm { line: String },
    /// The motion is over; position in m where it is told.
    Done { position: Option<f64> },
    /// An end switch closed.
    Hit { side: Option<Side> },
    /// The state.
    State { resting: bool },
    /// Who it is.
    Identity(Vec<(String, String)>),
    /// In order, but of no meaning to the bench.
    Remark,
    /// Not a line of this dialect, or the echo of another command: the link cannot be trusted.
    Garbled { why: String },
}

/// A firmware's line protocol.
#[derive(Debug, Clone)]
pub struct Dialect {
    /// Templates in the order of [`Request::KEYS`].
    pub templates: [Option<Template>; Request::KEYS.len()],
    pub sides: SideWords,
    pub speed: NumberForm,
    pub position: NumberForm,
    pub distance: NumberForm,
    pub motion_end: MotionEnd,
    pub answers: Answers,
}

impl Dialect {
    /// The text of a request, without line ending; `None` where the firmware knows no such command.
    pub fn compose(&self, request: &Request) -> Option<String> {
        let template = self.templates[request.index()].as_ref()?;
        let side_word = |side: Side| self.sides.word(side).to_owned();
        Some(template.fill(|slot| match (*request, slot) {
            (Request::Home { side } | Request::Run { side } | Request::Crawl { side }, _) => side_word(side),
            (Request::ToEnd { side, .. }, "side") => side_word(side),
            (Request::ToPosition { position, .. }, "position") => self.position.write(position),
            (Request::By { distance, .. }, "distance") => self.distance.write(distance),
            (Request::ToEnd { speed, .. } | Request::ToPosition { speed, .. } | Request::By { speed, .. }, _) => {
                self.speed.write(speed)
            }
            (Request::Select { level }, _) => level.to_string(),
            (Request::Stop | Request::State | Request::Identity, _) => String::new(),
        }))
    }

    /// Whether the firmware knows this kind of command, by its key in the unit file.
    pub fn knows(&self, key: &str) -> bool {
        Request::KEYS.iter().zip(&self.templates).any(|((name, _), template)| *name == key && template.is_some())
    }

    /// What a line means while `pending` awaits its answer.
    pub fn interpret(&self, line: &str, pending: Option<&str>) -> Heard {
        let answers = &self.answers;
        let matched = |pattern: &Option<Regex>| pattern.as_ref().and_then(|pattern| pattern.captures(line));
        if let Some(said) = matched(&answers.banner) {
            return Heard::Banner(named_groups(answers.banner.as_ref(), &said));
        }
        if matched(&answers.refused).is_some() {
            return Heard::Refused { answer: line.to_owned() };
        }
        if let Some(said) = matched(&answers.acknowledged) {
            return match (said.name("command"), pending) {
                (Some(echo), Some(pending)) if echo.as_str() != pending => {
                    Heard::Garbled { why: format!("`{}` was sent, `{}` was acknowledged", pending, echo.as_str()) }
                }
                (Some(echo), None) => {
                    Heard::Garbled { why: format!("`{}` was acknowledged, but nothing was sent", echo.as_str()) }
                }
                _ => Heard::Acknowledged,
            };
        }
        if matched(&answers.alarm).is_some() {
            return Heard::Alarm { line: line.to_owned() };
        }
        if let Some(said) = matched(&answers.done) {
            return self.with_position(line, &said, |position| Heard::Done { position });
        }
        if let Some(said) = matched(&answers.hit) {
            return Heard::Hit { side: said.name("side").and_then(|word| self.sides.side(word.as_str())) };
        }
        if let Some(said) = matched(&answers.state) {
            let state = said.name("state").map_or("", |word| word.as_str());
            return Heard::State { resting: answers.resting.iter().any(|resting| resting == state) };
        }
        if let Some(said) = matched(&answers.identity) {
            return Heard::Identity(named_groups(answers.identity.as_ref(), &said));
        }
        // What was just sent and comes back is the echo of a firmware or an adapter: the answer is still to come.
        if answers.remarks.iter().any(|pattern| pattern.is_match(line)) || pending == Some(line) {
            return Heard::Remark;
        }
        Heard::Garbled { why: format!("`{}` is no line of the unit file's dialect", shown(line)) }
    }

    fn with_position(&self, line: &str, said: &Captures<'_>, heard: impl Fn(Option<f64>) -> Heard) -> Heard {
        match said.name("position").map(|text| self.position.read(text.as_str())) {
            None => heard(None),
            Some(Some(position)) => heard(Some(position)),
            Some(None) => Heard::Garbled { why: format!("`{line}` has no number where the position belongs") },
        }
    }
}

/// A line as it may stand in a message: what is longer than any honest one is cut.
fn shown(line: &str) -> String {
    let mut shown: String = line.chars().take(SHOWN_MAX).flat_map(char::escape_debug).collect();
    if line.chars().nth(SHOWN_MAX).is_some() {
        shown.push('…');
    }
    shown
}

/// The groups of a match that carry what the unit says of itself.
fn named_groups(pattern: Option<&Regex>, said: &Captures<'_>) -> Vec<(String, String)> {
    pattern
        .into_iter()
        .flat_map(Regex::capture_names)
        .flatten()
        .filter_map(|name| Some((name.to_owned(), said.name(name)?.as_str().to_owned())))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A firmware that acknowledges with a word, reports numbered errors, and counts in steps and mm/min.
    fn stepwise() -> Dialect {
        let mut templates: [Option<Template>; 10] = Default::default();
        for (key, text) in [("to position", "m{position} f{speed}"), ("home", "h {side}"), ("select", "v{level}")] {
            let index = Request::KEYS.iter().position(|(name, _)| *name == key).unwrap();
            templates[index] = Some(Template::read(text, Request::KEYS[index].1).unwrap());
        }
        let pattern = |text: &str| Some(Regex::new(text).unwrap());
        Dialect {
            templates,
            sides: SideWords { left: "-".into(), right: "+".into() },
            speed: NumberForm { per_si: 60_000.0, decimals: 0 },
            position: NumberForm { per_si: 80_000.0, decimals: 0 },
            distance: NumberForm { per_si: 10_000.0, decimals: 0 },
            motion_end: MotionEnd::Reported,
            answers: Answers {
                alarm: pattern("^ALERT"),
                acknowledged: pattern("^fine$"),
                refused: pattern("^fault (?<code>[0-9]+)$"),
                done: pattern("^there (?<position>\\S+)$"),
                hit: pattern("^end (?<side>[-+])$"),
                banner: pattern("^awake (?<firmware>[0-9.]+)$"),
                state: pattern("^is (?<state>\\w+)$"),
                resting: vec!["still".into()],
                identity: None,
                remarks: vec![Regex::new("^#").unwrap()],
            },
        }
    }

    #[test]
    fn numbers_are_written_in_the_firmware_s_own_units() {
        let dialect = stepwise();
        let to = Request::ToPosition { position: 0.1, speed: 0.04 };
        assert_eq!(dialect.compose(&to).as_deref(), Some("m8000 f2400"));
        assert_eq!(dialect.compose(&Request::Home { side: Side::Left }).as_deref(), Some("h -"));
        assert_eq!(dialect.compose(&Request::Stop), None);
        assert_eq!(NumberForm { per_si: 1000.0, decimals: 1 }.write(-0.00001), "0.0");
        assert_eq!(NumberForm { per_si: 10_000.0, decimals: 0 }.write(-0.0501), "-501");
    }

    #[test]
    fn lines_are_told_apart() {
        let dialect = stepwise();
        let heard = |line| dialect.interpret(line, Some("m8000 f2400"));
        assert_eq!(heard("fine"), Heard::Acknowledged);
        assert_eq!(heard("fault 12"), Heard::Refused { answer: "fault 12".into() });
        assert_eq!(heard("there 8000"), Heard::Done { position: Some(0.1) });
        assert_eq!(heard("end +"), Heard::Hit { side: Some(Side::Right) });
        assert_eq!(heard("is still"), Heard::State { resting: true });
        assert_eq!(heard("is moving"), Heard::State { resting: false });
        assert_eq!(heard("awake 2.1"), Heard::Banner(vec![("firmware".into(), "2.1".into())]));
        assert_eq!(heard("# chatter"), Heard::Remark);
        assert_eq!(heard("m8000 f2400"), Heard::Remark);
        assert!(matches!(heard("m8000 f2401"), Heard::Garbled { .. }));
        assert!(matches!(dialect.interpret("m8000 f2400", None), Heard::Garbled { .. }));
        assert!(matches!(heard("fime"), Heard::Garbled { .. }));
        let noise = "x".repeat(1000);
        let Heard::Garbled { why } = heard(&noise) else { panic!("no line of the dialect") };
        assert_eq!(why, format!("`{}…` is no line of the unit file's dialect", "x".repeat(80)));
        assert!(matches!(heard("there 80x0"), Heard::Garbled { .. }));
    }

    #[test]
    fn an_echo_of_another_command_is_garbled() {
        let mut dialect = stepwise();
        dialect.answers.acknowledged = Some(Regex::new("^OK (?<command>.*)$").unwrap());
        assert_eq!(dialect.interpret("OK GO R 90.0", Some("GO R 90.0")), Heard::Acknowledged);
        assert!(matches!(dialect.interpret("OK GO R 10.0", Some("GO R 90.0")), Heard::Garbled { .. }));
        assert!(matches!(dialect.interpret("OK GO R 90.0", None), Heard::Garbled { .. }));
    }

    #[test]
    fn templates_say_what_is_wrong_with_them() {
        let wrong = |text, slots: &[&str]| Template::read(text, slots).unwrap_err();
        assert_eq!(wrong("GO {sid}", &["side"]), "this command knows no slot {sid}; its slots: {side}");
        assert_eq!(wrong("GO", &["side"]), "the slot {side} is missing");
        assert_eq!(wrong("GO {side", &["side"]), "a `{` has no `}`");
        assert_eq!(wrong("STOP {now}", &[]), "this command knows no slot {now}; its slots: none");
        assert_eq!(wrong("", &[]), "the command is empty");
    }
}
