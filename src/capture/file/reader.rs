//! Reads a capture file back, in the order in which it was written, damaged or not.

use std::io::Read;

use super::block::{self, Header};
use super::journal::{Counts, Entry, column, edge_column, sample_column};
use super::{CaptureError, HEAD_LENGTH, SIGNATURE, VERSION, columns};
use crate::capture::{CaptureSink, Edge, EdgeChannel, Loss, Part, Sample, SampleChannel, Tick};

/// The longest file that is read: hours of a bench at full speed.
const LENGTH_MAX: u64 = 2 << 30;

/// What a capture file held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Summary {
    /// Ticks of its clock in a second.
    pub ticks_per_second: u64,
    /// Transitions.
    pub edges: u64,
    /// Samples.
    pub samples: u64,
    /// Lines of the transcript.
    pub lines: u64,
    /// Marks.
    pub marks: u64,
    /// Losses, those found in reading included.
    pub losses: u64,
    /// Whether the file is whole: undamaged and with its end.
    pub whole: bool,
}

/// A capture file whose head has been read.
pub struct CaptureReader {
    bytes: Vec<u8>,
    ticks_per_second: u64,
}

/// Reads a whole capture file into `sink`.
pub fn read(from: impl Read, sink: &mut dyn CaptureSink) -> Result<Summary, CaptureError> {
    Ok(CaptureReader::open(from)?.replay(sink))
}

impl CaptureReader {
    /// Takes in a file and checks its head.
    pub fn open(from: impl Read) -> Result<Self, CaptureError> {
        let mut bytes = Vec::new();
        from.take(LENGTH_MAX + 1).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > LENGTH_MAX {
            return Err(CaptureError::TooLong { limit: LENGTH_MAX });
        }
        if !bytes.starts_with(&SIGNATURE) {
            return Err(CaptureError::Foreign);
        }
        let head: &[u8; HEAD_LENGTH] = bytes.first_chunk().ok_or(CaptureError::DamagedHead)?;
        let [.., a, b, c, d] = *head;
        if crc32fast::hash(&head[..HEAD_LENGTH - 4]) != u32::from_le_bytes([a, b, c, d]) {
            return Err(CaptureError::DamagedHead);
        }
        let version = u16::from_le_bytes([head[8], head[9]]);
        if version > VERSION {
            return Err(CaptureError::Newer { found: version });
        }
        let ticks_per_second = u64::from_le_bytes(std::array::from_fn(|index| head[12 + index]));
        Ok(Self { bytes, ticks_per_second })
    }

    /// Ticks of the capture's clock in a second.
    pub fn ticks_per_second(&self) -> u64 {
        self.ticks_per_second
    }

    /// Hands everything to `sink`, in the order in which it came.
    pub fn replay(&self, sink: &mut dyn CaptureSink) -> Summary {
        let summary = Summary { ticks_per_second: self.ticks_per_second, whole: true, ..Summary::default() };
        let mut replay = Replay { sink, summary, stretch: Stretch::default(), done: 0, last_tick: 0, ended: false };
        let mut at = HEAD_LENGTH;
        while at < self.bytes.len() && !replay.ended {
            match block::parse(&self.bytes[at..]) {
                Some((header, payload, length)) => {
                    replay.block(&header, payload);
                    at += length;
                }
                None => {
                    let skipped = block::distance_to_next(&self.bytes[at..]);
                    replay.stretch.damage.push(format!("{skipped} damaged bytes of the capture file, at byte {at}"));
                    at += skipped;
                }
            }
        }
        replay.end(self.bytes.len() - at)
    }
}

/// What is known of a stretch before its journal came.
#[derive(Default)]
struct Stretch {
    edges: [Vec<Edge>; EdgeChannel::ALL.len()],
    samples: [Vec<Sample>; SampleChannel::COUNT],
    /// What was found wrong, in words.
    damage: Vec<String>,
}

impl Stretch {
    fn counts(&self) -> Counts {
        let edges = self.edges.iter().zip(EdgeChannel::ALL).map(|(held, channel)| (edge_column(channel), held.len()));
        let samples = self.samples.iter().enumerate().map(|(index, held)| (sample_column(index), held.len()));
        edges.chain(samples).filter(|held| held.1 > 0).map(|(number, count)| (number, count as u32)).collect()
    }
}

struct Replay<'a> {
    sink: &'a mut dyn CaptureSink,
    summary: Summary,
    stretch: Stretch,
    /// Number of the stretch that is being read.
    done: u32,
    last_tick: Tick,
    ended: bool,
}

impl Replay<'_> {
    fn block(&mut self, header: &Header, payload: &[u8]) {
        if header.stretch != self.done {
            self.leave_unordered(&format!("the journal of stretch {}", self.done));
            self.done = header.stretch;
        }
        self.last_tick = self.last_tick.max(header.first_tick);
        if header.kind == block::END {
            self.ended = true;
            return;
        }
        if let Err(why) = self.content(header, payload) {
            self.stretch.damage.push(format!("a block of the capture file, kind {}: {why}", header.kind));
        }
    }

    fn content(&mut self, header: &Header, payload: &[u8]) -> Result<(), String> {
        let raw = block::unpack(header, payload)?;
        let channel = usize::from(header.channel);
        match header.kind {
            block::EDGES => {
                let into = self.stretch.edges.get_mut(channel).ok_or("it is of a channel that does not exist")?;
                into.extend(columns::edges(header.encoding, header.count, header.first_tick, &raw)?);
            }
            block::SAMPLES => {
                let into = self.stretch.samples.get_mut(channel).ok_or("it is of a channel that does not exist")?;
                into.extend(columns::samples(header.encoding, header.count, header.first_tick, &raw)?);
            }
            block::JOURNAL => {
                self.journal(&raw);
                self.done += 1;
            }
            _ => return Err("this program does not know it".to_owned()),
        }
        Ok(())
    }

    /// Hands out a stretch as its journal says.
    fn journal(&mut self, text: &[u8]) {
        let held = self.stretch.counts();
        let mut stretch = std::mem::take(&mut self.stretch);
        let mut taken = Taken::default();
        let mut part = Part::default();
        for line in text.split(|&byte| byte == b'\n').filter(|line| !line.is_empty()) {
            match Entry::read(line) {
                Ok(Entry::Driven(driven)) => part.driven.push(driven),
                Ok(Entry::Line(line)) => part.lines.push(line),
                Ok(Entry::Loss(loss)) => part.losses.push(loss),
                Ok(Entry::Mark { since, mark }) => {
                    for (number, count) in since {
                        taken.some(&stretch, number, count as usize, &mut part);
                    }
                    self.hand_out(&mut part);
                    self.summary.marks += 1;
                    self.sink.mark(&mark);
                }
                Ok(Entry::Columns(counts)) if counts != held => {
                    stretch.damage.push(format!("columns of the capture: {}", difference(&counts, &held)));
                }
                Ok(Entry::Columns(_)) => (),
                Err(why) => stretch.damage.push(format!("a line of the capture's journal: {why}")),
            }
        }
        for (number, count) in held {
            taken.some(&stretch, number, count as usize, &mut part);
        }
        self.tell_damage(&stretch.damage, &mut part);
        self.hand_out(&mut part);
    }

    /// Hands out columns whose journal is missing.
    fn leave_unordered(&mut self, what: &str) {
        let mut stretch = std::mem::take(&mut self.stretch);
        stretch.damage.push(format!("{what}, with its marks and transcript"));
        let mut part = Part { edges: stretch.edges, samples: stretch.samples, ..Part::default() };
        self.tell_damage(&stretch.damage, &mut part);
        self.hand_out(&mut part);
    }

    fn end(mut self, bytes_behind: usize) -> Summary {
        if !self.ended {
            self.leave_unordered("the end of the capture file, which was cut off before it was finished");
        } else if bytes_behind > 0 {
            self.stretch.damage.push(format!("{bytes_behind} bytes behind the end of the capture file"));
        }
        let mut part = Part::default();
        let damage = std::mem::take(&mut self.stretch.damage);
        self.tell_damage(&damage, &mut part);
        self.hand_out(&mut part);
        self.summary
    }

    fn tell_damage(&mut self, damage: &[String], part: &mut Part) {
        self.summary.whole &= damage.is_empty();
        part.losses.extend(damage.iter().map(|what| Loss { at: self.last_tick, what: what.clone() }));
    }

    fn hand_out(&mut self, part: &mut Part) {
        if part.is_empty() {
            return;
        }
        self.summary.edges += part.edges.iter().map(|column| column.len() as u64).sum::<u64>();
        self.summary.samples += part.samples.iter().map(|column| column.len() as u64).sum::<u64>();
        self.summary.lines += part.lines.len() as u64;
        self.summary.losses += part.losses.len() as u64;
        self.sink.part(part);
        part.clear();
    }
}

/// How much of each column has been handed out.
#[derive(Default)]
struct Taken {
    edges: [usize; EdgeChannel::ALL.len()],
    samples: [usize; SampleChannel::COUNT],
}

impl Taken {
    /// Moves up to `count` more entries of a column into `part`; what is not there was lost and is told elsewhere.
    fn some(&mut self, stretch: &Stretch, number: u8, count: usize, part: &mut Part) {
        match column(number) {
            Some(Ok(index)) => {
                part.edges[index].extend(following(&stretch.edges[index], &mut self.edges[index], count));
            }
            Some(Err(index)) => {
                part.samples[index].extend(following(&stretch.samples[index], &mut self.samples[index], count));
            }
            None => (),
        }
    }
}

fn following<'a, T: Copy>(column: &'a [T], taken: &mut usize, count: usize) -> impl Iterator<Item = T> + use<'a, T> {
    let start = *taken;
    *taken = start.saturating_add(count).min(column.len());
    column[start..*taken].iter().copied()
}

/// What is missing, in words.
fn difference(expected: &Counts, held: &Counts) -> String {
    let missing: Vec<String> = expected
        .iter()
        .filter_map(|&(number, count)| {
            let there = held.iter().find(|entry| entry.0 == number).map_or(0, |entry| entry.1);
            let name = match column(number)? {
                Ok(index) => EdgeChannel::ALL[index].name().to_owned(),
                Err(index) => SampleChannel::at(index)?.name(),
            };
            (there != count).then(|| format!("{there} of {count} entries of `{name}` are left"))
        })
        .collect();
    if missing.is_empty() { "one that nothing was written into".to_owned() } else { missing.join(", ") }
}
