//! The moves of a plan as they are written, each part with its place. Whether a bench can do them is [`super::fit`]'s
//! business.

use super::draft::Put;
use super::words::{
    command_text, distance, duration, goal, level, pack, pattern, press_duration, side, speed, switch, times,
};
use crate::capture::Side;
use crate::written::{Fields, Mistake, Node, Notes, Place, Scalar, nearest};

/// The most moves of a plan once every `repeat` is written out.
pub(super) const MOVES_MAX: usize = 10_000;
/// How long a control is held where the plan does not say, s.
const PRESS_USUAL: f64 = 0.1;
/// How long an answer to a maker's own text may take where the plan does not say, s.
const ANSWER_USUAL: f64 = 1.0;

/// A move as it is written.
#[derive(Debug, Clone)]
pub(super) struct DraftMove {
    pub(super) at: Place,
    pub(super) doing: Doing,
}

/// What is done. Lengths in m, speeds in m/s, durations in s.
#[derive(Debug, Clone)]
pub(super) enum Doing {
    Power { on: bool },
    Load { on: bool },
    Pack { low: bool },
    Home { side: Side },
    Travel { to: Goal, pace: Pace },
    Stop { towards: Side, pace: Pace, after: Put<f64>, by: Option<Put<String>> },
    Start { by: Put<String>, towards: Side, level: Put<u32>, lasts: Put<f64>, stop_by: Option<Put<String>> },
    Reverse { first: Side, pace: Pace, after: Put<f64> },
    Crawl { towards: Side, lasts: Put<f64> },
    Select { level: Put<u32> },
    Press { control: Put<String>, lasts: f64 },
    Wait { lasts: f64 },
    Ask { question: String, expect: String },
    Send { text: String, expect: Option<String>, within: f64 },
    Repeat { times: u32, moves: Vec<DraftMove> },
}

/// Where a travel goes.
#[derive(Debug, Clone)]
pub(super) enum Goal {
    End(Side),
    Position(Put<f64>),
    By(Put<f64>),
}

/// How fast.
#[derive(Debug, Clone)]
pub(super) enum Pace {
    Speed(Put<f64>),
    Level(Put<u32>),
}

/// How each move is written, for messages.
const EXAMPLES: [(&str, &str); 15] = [
    ("home", "home: left"),
    ("travel", "travel: { to: right, speed: 90 mm/s }"),
    ("stop", "stop: { towards: right, speed: 40 mm/s, after: 3 s }"),
    ("start", "start: { by: knob push, towards: right, level: 4, for: 3 s, stop by: stop key }"),
    ("reverse", "reverse: { first: right, speed: 40 mm/s, after: 3 s }"),
    ("crawl", "crawl: { towards: right, for: 30 s }"),
    ("select", "select: 3"),
    ("press", "press: knob right"),
    ("wait", "wait: 5 s"),
    ("repeat", "repeat: { times: 5, moves: [ … ] }"),
    ("power", "power: on"),
    ("load", "load: on"),
    ("pack", "pack: nearly empty"),
    ("ask", "ask: \"Is the belt path straight?\""),
    ("send", "send: { text: \"WHO\", expect: \"^I AM\", within: 1 s }"),
];

/// Reads a list of moves. What cannot be read is noted and left out.
pub(super) fn read_moves(items: &[Node], notes: &Notes) -> Vec<DraftMove> {
    items.iter().filter_map(|item| read_move(item, notes)).collect()
}

/// How many moves there are once every `repeat` is written out.
pub(super) fn written_out(moves: &[DraftMove]) -> usize {
    moves
        .iter()
        .map(|one| match &one.doing {
            Doing::Repeat { times, moves } => written_out(moves).saturating_mul(*times as usize),
            _ => 1,
        })
        .fold(0, usize::saturating_add)
}

fn read_move(item: &Node, notes: &Notes) -> Option<DraftMove> {
    let Node::Map(map) = item else {
        let name = if let Node::Scalar(word) = item { word.text.trim() } else { "" };
        let example = EXAMPLES.iter().find(|(key, _)| *key == name).map_or(EXAMPLES[1].1, |(_, example)| example);
        let what = format!("a move is a key with what belongs to it, but this is {}", item.kind());
        notes.add(item.at(), what, format!("write for example `- {example}`"));
        return None;
    };
    let [(key, node)] = map.entries.as_slice() else {
        let second = map.entries.get(1).map_or(&map.at, |(key, _)| &key.at);
        let right = "begin each move with a `- ` of its own, and put what belongs to one move into `{ }`";
        notes.add(second, format!("a move has one key, but this one has {}", map.entries.len()), right);
        return None;
    };
    let Some((name, example)) = EXAMPLES.iter().find(|(name, _)| *name == key.text) else {
        let names = EXAMPLES.map(|(name, _)| name);
        let right = match nearest(&key.text, names) {
            Some(name) => format!("did you mean `{name}`?"),
            None => format!("the moves are {}", names.join(", ")),
        };
        notes.add(&key.at, format!("there is no move `{}`", key.text), right);
        return None;
    };
    let doing = MoveReader { name, example, node, notes }.read()?;
    Some(DraftMove { at: key.at.clone(), doing })
}

struct MoveReader<'n> {
    name: &'static str,
    example: &'static str,
    node: &'n Node,
    notes: &'n Notes,
}

impl<'n> MoveReader<'n> {
    fn read(&self) -> Option<Doing> {
        match self.name {
            "home" => self.one(side).map(|side| Doing::Home { side }),
            "power" => self.one(switch).map(|on| Doing::Power { on }),
            "load" => self.one(switch).map(|on| Doing::Load { on }),
            "pack" => self.one(pack).map(|low| Doing::Pack { low }),
            "select" => self.word().and_then(|word| put(word, self.notes, level)).map(|level| Doing::Select { level }),
            "wait" => self.one(duration).map(|lasts| Doing::Wait { lasts }),
            "travel" => self.travel(),
            "stop" => self.stop(),
            "start" => self.start(),
            "reverse" => self.reverse(),
            "crawl" => self.crawl(),
            "press" => self.press(),
            "ask" => self.ask(),
            "send" => self.send(),
            _ => self.repeat(),
        }
    }

    /// The single word after the move's key.
    fn word(&self) -> Option<&'n Scalar> {
        match self.node {
            Node::Scalar(word) if !word.text.trim().is_empty() => Some(word),
            other => {
                let what = format!("`{}` wants a single value, but this is {}", self.name, other.kind());
                self.notes.add(other.at(), what, format!("write for example `{}`", self.example));
                None
            }
        }
    }

    fn one<T>(&self, parse: impl FnOnce(&str) -> Result<T, Mistake>) -> Option<T> {
        self.word().and_then(|word| word.understood(self.notes, parse))
    }

    fn fields(&self) -> Option<Fields<'n>> {
        Fields::of(self.node, &format!("`{}`", self.name), self.example, self.notes)
    }

    fn travel(&self) -> Option<Doing> {
        let fields = self.fields()?;
        let to = fields.word("to", "right").and_then(|word| {
            let goal = put(word, self.notes, goal)?;
            Some(match goal.value {
                Ok(side) => Goal::End(side),
                Err(position) => Goal::Position(Put { value: position, at: goal.at }),
            })
        });
        let by = fields.word("by", "-50 mm").and_then(|word| put(word, self.notes, distance)).map(Goal::By);
        let pace = self.pace(&fields);
        let (has_to, has_by) = (fields.node("to").is_some(), fields.node("by"));
        match (has_to, has_by) {
            (true, Some(node)) => {
                self.notes.add(
                    node.at(),
                    "a travel goes `to` somewhere or `by` a distance, not both",
                    "leave one of the two out",
                );
            }
            (false, None) => {
                self.notes.add(
                    self.node.at(),
                    "this travel goes nowhere",
                    format!("write for example `{}`", self.example),
                );
            }
            _ => {}
        }
        fields.end();
        let (to, pace) = (to.or(by)?, pace?);
        if let (Goal::Position(Put { at, .. }) | Goal::By(Put { at, .. }), Pace::Level(_)) = (&to, &pace) {
            let right = "give it a `speed` instead of a `level`, or let it go `to: left` or `to: right`";
            self.notes.add(at, "a travel at a level goes to an end: a unit runs its own levels no other way", right);
        }
        Some(Doing::Travel { to, pace })
    }

    fn stop(&self) -> Option<Doing> {
        let fields = self.fields()?;
        let towards = fields.need_parsed("towards", "right", side);
        let pace = self.pace(&fields);
        let after = fields.need_word("after", "3 s").and_then(|word| put(word, self.notes, duration));
        let by = fields.word("by", "stop key").map(named);
        fields.end();
        Some(Doing::Stop { towards: towards?, pace: pace?, after: after?, by })
    }

    fn start(&self) -> Option<Doing> {
        let fields = self.fields()?;
        let by = fields.need_word("by", "knob push").map(named);
        let towards = fields.need_parsed("towards", "right", side);
        let level = fields.need_word("level", "4").and_then(|word| put(word, self.notes, level));
        let lasts = fields.need_word("for", "3 s").and_then(|word| put(word, self.notes, duration));
        let stop_by = fields.word("stop by", "stop key").map(named);
        fields.end();
        Some(Doing::Start { by: by?, towards: towards?, level: level?, lasts: lasts?, stop_by })
    }

    fn reverse(&self) -> Option<Doing> {
        let fields = self.fields()?;
        let first = fields.need_parsed("first", "right", side);
        let pace = self.pace(&fields);
        let after = fields.need_word("after", "3 s").and_then(|word| put(word, self.notes, duration));
        fields.end();
        Some(Doing::Reverse { first: first?, pace: pace?, after: after? })
    }

    fn crawl(&self) -> Option<Doing> {
        let fields = self.fields()?;
        let towards = fields.need_parsed("towards", "right", side);
        let lasts = fields.need_word("for", "30 s").and_then(|word| put(word, self.notes, duration));
        fields.end();
        Some(Doing::Crawl { towards: towards?, lasts: lasts? })
    }

    fn press(&self) -> Option<Doing> {
        if let Node::Scalar(_) = self.node {
            return self.word().map(|word| Doing::Press { control: named(word), lasts: PRESS_USUAL });
        }
        let fields = self.fields_like("press: { control: knob right, for: 100 ms }")?;
        let control = fields.need_word("control", "knob right").map(named);
        let lasts = fields.parsed("for", "100 ms", press_duration).unwrap_or(PRESS_USUAL);
        fields.end();
        Some(Doing::Press { control: control?, lasts })
    }

    fn ask(&self) -> Option<Doing> {
        if let Node::Scalar(_) = self.node {
            return self.word().map(|word| Doing::Ask { question: word.text.trim().into(), expect: "yes".into() });
        }
        let fields = self.fields_like("ask: { question: \"Is the belt path straight?\", expect: yes }")?;
        let question = fields.need_word("question", "\"Is the belt path straight?\"");
        let expect = fields.word("expect", "yes").map_or("yes", |word| word.text.trim());
        fields.end();
        Some(Doing::Ask { question: question?.text.trim().into(), expect: expect.into() })
    }

    fn send(&self) -> Option<Doing> {
        let fields = self.fields()?;
        let text = fields.need_parsed("text", "\"WHO\"", command_text);
        let expect = fields.parsed("expect", "\"^I AM\"", pattern);
        let within = fields.parsed("within", "1 s", duration).unwrap_or(ANSWER_USUAL);
        fields.end();
        Some(Doing::Send { text: text?, expect, within })
    }

    fn repeat(&self) -> Option<Doing> {
        let fields = self.fields()?;
        let times = fields.need_parsed("times", "5", times);
        let list = fields.need_list("moves", "[ { home: left } ]");
        let moves = list.map(|list| {
            if list.items.is_empty() {
                self.notes.add(&list.at, "there is nothing to repeat", "write the moves, or leave this `repeat` out");
            }
            read_moves(&list.items, self.notes)
        });
        fields.end();
        Some(Doing::Repeat { times: times?, moves: moves? })
    }

    fn fields_like(&self, example: &str) -> Option<Fields<'n>> {
        Fields::of(self.node, &format!("`{}`", self.name), example, self.notes)
    }

    /// `speed: 90 mm/s` or `level: 4`, one of the two.
    fn pace(&self, fields: &Fields<'n>) -> Option<Pace> {
        let speed = fields.word("speed", "90 mm/s").and_then(|word| put(word, self.notes, speed)).map(Pace::Speed);
        let level = fields.word("level", "4").and_then(|word| put(word, self.notes, level)).map(Pace::Level);
        match (fields.node("speed"), fields.node("level")) {
            (Some(_), Some(node)) => {
                self.notes.add(node.at(), "a `speed` and a `level` contradict each other", "leave one of the two out");
            }
            (None, None) => {
                let what = format!("`{}` has neither a `speed` nor a `level`", self.name);
                self.notes.add(self.node.at(), what, "add for example `speed: 40 mm/s` or `level: 4`");
            }
            _ => {}
        }
        speed.or(level)
    }
}

fn named(word: &Scalar) -> Put<String> {
    Put { value: word.text.trim().into(), at: word.at.clone() }
}

fn put<T>(word: &Scalar, notes: &Notes, parse: impl FnOnce(&str) -> Result<T, Mistake>) -> Option<Put<T>> {
    word.understood(notes, parse).map(|value| Put { value, at: word.at.clone() })
}
