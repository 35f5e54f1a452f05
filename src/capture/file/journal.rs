//! The journal's lines: outputs, transcript, losses and marks as text, one JSON value each.
//!
//! The images mirror the live types field by field; the compiler notices when one moves away from the other. Numbers
//! with a fraction are kept as text, so that they come back to the last bit.

use serde::{Deserialize, Serialize};

use crate::capture::{
    Action, Cue, Destination, Driven, EdgeChannel, Line, Loss, Mark, MarkKind, OutputChannel, Phase, SampleChannel,
    Side, TICK_MAX, Talker,
};

/// Number of the first sample column; edge columns have the numbers of their channels.
const SAMPLE_COLUMNS: usize = 16;

/// How many entries of a column, by the column's number.
pub(super) type Counts = Vec<(u8, u32)>;

/// The number of a channel's column of edges.
pub(super) fn edge_column(channel: EdgeChannel) -> u8 {
    channel as u8
}

/// The number of the column of a sample channel with this index.
pub(super) fn sample_column(index: usize) -> u8 {
    (SAMPLE_COLUMNS + index) as u8
}

/// The edge or sample channel of a column.
pub(super) fn column(number: u8) -> Option<Result<usize, usize>> {
    match usize::from(number) {
        edges if edges < EdgeChannel::ALL.len() => Some(Ok(edges)),
        samples if (SAMPLE_COLUMNS..SAMPLE_COLUMNS + SampleChannel::COUNT).contains(&samples) => {
            Some(Err(samples - SAMPLE_COLUMNS))
        }
        _ => None,
    }
}

/// One line of a journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Entry {
    Driven(#[serde(with = "DrivenImage")] Driven),
    Line(#[serde(with = "LineImage")] Line),
    Loss(#[serde(with = "LossImage")] Loss),
    Mark {
        /// Entries of the columns since the mark before.
        since: Counts,
        #[serde(with = "MarkImage")]
        mark: Mark,
    },
    /// Entries of the columns in the whole stretch; the last line.
    Columns(Counts),
}

impl Entry {
    /// Appends the line.
    pub(super) fn write(&self, into: &mut Vec<u8>) -> std::io::Result<()> {
        serde_json::to_writer(&mut *into, self)?;
        into.push(b'\n');
        Ok(())
    }

    /// The entry on a line.
    pub(super) fn read(line: &[u8]) -> Result<Self, String> {
        let entry: Self = serde_json::from_slice(line).map_err(|error| error.to_string())?;
        if entry.is_within_range() { Ok(entry) } else { Err("a number of it is beyond its range".to_owned()) }
    }

    /// Whether its moments and counts are such that nobody who calculates with them has to fear an overflow.
    fn is_within_range(&self) -> bool {
        let (at, doubt, numbers) = match self {
            Self::Driven(driven) => (driven.at, 0, [0; 2]),
            Self::Line(line) => (line.at, 0, [0; 2]),
            Self::Loss(loss) => (loss.at, 0, [0; 2]),
            Self::Mark { mark, .. } => match &mark.kind {
                MarkKind::CheckBegins { check } | MarkKind::RoundEnds { check } | MarkKind::CheckEnds { check } => {
                    (mark.at, mark.doubt, [*check, 0])
                }
                MarkKind::PhaseBegins(phase) => (mark.at, mark.doubt, [phase.check, phase.ordinal]),
                _ => (mark.at, mark.doubt, [0; 2]),
            },
            Self::Columns(_) => (0, 0, [0; 2]),
        };
        at.max(doubt) <= TICK_MAX && numbers.iter().all(|number| *number < u32::MAX as usize)
    }
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Driven")]
struct DrivenImage {
    at: u64,
    #[serde(with = "output_name")]
    output: OutputChannel,
    on: bool,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Talker", rename_all = "snake_case")]
enum TalkerImage {
    Bench,
    Unit,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Line")]
struct LineImage {
    at: u64,
    #[serde(with = "TalkerImage")]
    from: Talker,
    text: String,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Loss")]
struct LossImage {
    at: u64,
    what: String,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Side", rename_all = "snake_case")]
enum SideImage {
    Left,
    Right,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Destination", rename_all = "snake_case")]
enum DestinationImage {
    End(#[serde(with = "SideImage")] Side),
    Position(#[serde(with = "exact")] f64),
    By(#[serde(with = "exact")] f64),
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Action", rename_all = "snake_case")]
enum ActionImage {
    Power {
        on: bool,
    },
    Load {
        on: bool,
    },
    Pack {
        low: bool,
    },
    Home {
        #[serde(with = "SideImage")]
        side: Side,
    },
    Travel {
        #[serde(with = "DestinationImage")]
        to: Destination,
        #[serde(with = "exact")]
        speed: f64,
        level: Option<u8>,
    },
    Stop {
        #[serde(with = "SideImage")]
        towards: Side,
        #[serde(with = "exact")]
        speed: f64,
        press: Option<u8>,
    },
    Start {
        #[serde(with = "SideImage")]
        towards: Side,
        #[serde(with = "exact")]
        speed: f64,
        level: u8,
        press: u8,
        stop_press: Option<u8>,
    },
    Reverse {
        #[serde(with = "SideImage")]
        first: Side,
        #[serde(with = "exact")]
        speed: f64,
    },
    Crawl {
        #[serde(with = "SideImage")]
        towards: Side,
    },
    Select {
        level: u8,
    },
    Press {
        control: u8,
    },
    Wait,
    Ask {
        question: String,
    },
    Send {
        text: String,
    },
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Phase")]
struct PhaseImage {
    check: usize,
    ordinal: usize,
    label: String,
    #[serde(with = "ActionImage")]
    action: Action,
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Cue", rename_all = "snake_case")]
enum CueImage {
    Commanded,
    StopCommanded,
    ReverseCommanded,
    Done,
    Restarted,
    StartedUp,
    Unanswered { command: String },
    Refused { command: String, answer: String },
    Reported { what: String, value: String, expected: Option<String> },
    Answered { question: String, answer: String, agrees: bool },
    GivenUp { why: String },
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "MarkKind", rename_all = "snake_case")]
enum MarkKindImage {
    CheckBegins { check: usize },
    PhaseBegins(#[serde(with = "PhaseImage")] Phase),
    Cue(#[serde(with = "CueImage")] Cue),
    PhaseEnds,
    RoundEnds { check: usize },
    CheckEnds { check: usize },
}

#[derive(Serialize, Deserialize)]
#[serde(remote = "Mark")]
struct MarkImage {
    at: u64,
    doubt: u64,
    #[serde(with = "MarkKindImage")]
    kind: MarkKind,
}

/// A number as the shortest text that reads back to the same bits.
mod exact {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub fn serialize<S: Serializer>(value: &f64, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&format!("{value:?}"))
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<f64, D::Error> {
        String::deserialize(from)?.parse().map_err(D::Error::custom)
    }
}

/// An output by its name.
mod output_name {
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    use crate::capture::OutputChannel;

    pub fn serialize<S: Serializer>(output: &OutputChannel, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&output.name())
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<OutputChannel, D::Error> {
        let name = String::deserialize(from)?;
        OutputChannel::named(&name).ok_or_else(|| D::Error::custom(format!("no output is called `{name}`")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_text_form_is_frozen() {
        let entries = [
            Entry::Driven(Driven { at: 12, output: OutputChannel::Press(0), on: true }),
            Entry::Line(Line { at: 34, from: Talker::Unit, text: "HIT R".into() }),
            Entry::Mark {
                since: vec![(0, 3), (16, 1)],
                mark: Mark {
                    at: 56,
                    doubt: 2,
                    kind: MarkKind::PhaseBegins(Phase {
                        check: 1,
                        ordinal: 2,
                        label: "to the right end at 90 mm/s".into(),
                        action: Action::Travel { to: Destination::End(Side::Right), speed: 0.1 + 0.2, level: Some(6) },
                    }),
                },
            },
            Entry::Mark {
                since: vec![],
                mark: Mark { at: 57, doubt: 0, kind: MarkKind::Cue(Cue::Unanswered { command: "GO R 90.0".into() }) },
            },
            Entry::Mark { since: vec![], mark: Mark { at: 58, doubt: 0, kind: MarkKind::RoundEnds { check: 1 } } },
            Entry::Loss(Loss { at: 78, what: "7 edges".into() }),
            Entry::Columns(vec![(0, 3)]),
        ];
        let mut text = Vec::new();
        entries.iter().for_each(|entry| entry.write(&mut text).expect("writes"));
        expect_test::expect![[r#"
            {"driven":{"at":12,"output":"press 1","on":true}}
            {"line":{"at":34,"from":"unit","text":"HIT R"}}
            {"mark":{"since":[[0,3],[16,1]],"mark":{"at":56,"doubt":2,"kind":{"phase_begins":{"check":1,"ordinal":2,"label":"to the right end at 90 mm/s","action":{"travel":{"to":{"end":"right"},"speed":"0.30000000000000004","level":6}}}}}}}
            {"mark":{"since":[],"mark":{"at":57,"doubt":0,"kind":{"cue":{"unanswered":{"command":"GO R 90.0"}}}}}}
            {"mark":{"since":[],"mark":{"at":58,"doubt":0,"kind":{"round_ends":{"check":1}}}}}
            {"loss":{"at":78,"what":"7 edges"}}
            {"columns":[[0,3]]}
        "#]]
        .assert_eq(std::str::from_utf8(&text).expect("text"));
        let back: Vec<Entry> = text
            .split(|&byte| byte == b'\n')
            .filter(|line| !line.is_empty())
            .map(|line| Entry::read(line).expect("reads"))
            .collect();
        assert_eq!(back, entries);
    }

    #[test]
    fn every_column_has_its_own_number() {
        let edges = EdgeChannel::ALL.map(edge_column);
        assert!(edges.iter().all(|&number| column(number) == Some(Ok(usize::from(number)))));
        assert!((0..SampleChannel::COUNT).all(|index| column(sample_column(index)) == Some(Err(index))));
        assert_eq!((column(12), column(255)), (None, None));
    }
}
