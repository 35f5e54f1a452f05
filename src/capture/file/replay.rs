//! From blocks to evidence: what a stretch holds is handed out as its journal says, and what is damaged is told.

use super::block::{self, Header};
use super::columns::Unpacker;
use super::journal::{Counts, Entry, column, edge_column, sample_column};
use super::reader::Summary;
use crate::capture::{CaptureSink, Edge, EdgeChannel, Loss, Part, Sample, SampleChannel, TICK_MAX, Tick};

/// So many damages are told one by one.
const DAMAGES_MAX: usize = 1000;
/// So many losses are handed out; a capture with more has nothing left to prove.
const LOSSES_MAX: u64 = 100_000;

/// Hands out what comes block by block.
pub(super) struct Replay<'a> {
    sink: &'a mut dyn CaptureSink,
    summary: Summary,
    unpacker: Unpacker,
    stretch: Stretch,
    part: Part,
    /// Number of the stretch that is being read.
    done: u32,
    last_tick: Tick,
    damages: usize,
    ended: bool,
}

/// What is known of a stretch before its journal came.
#[derive(Default)]
struct Stretch {
    edges: [Vec<Edge>; EdgeChannel::ALL.len()],
    samples: [Vec<Sample>; SampleChannel::COUNT],
    /// How much of each column has been handed out.
    taken_edges: [usize; EdgeChannel::ALL.len()],
    taken_samples: [usize; SampleChannel::COUNT],
    /// The last moment of each column, in this stretch and before.
    last_edges: [Tick; EdgeChannel::ALL.len()],
    last_samples: [Tick; SampleChannel::COUNT],
    /// What was found wrong, in words.
    damage: Vec<String>,
}

impl Stretch {
    fn counts(&self) -> Counts {
        let edges = self.edges.iter().zip(EdgeChannel::ALL).map(|(held, channel)| (edge_column(channel), held.len()));
        let samples = self.samples.iter().enumerate().map(|(index, held)| (sample_column(index), held.len()));
        edges.chain(samples).filter(|held| held.1 > 0).map(|(number, count)| (number, count as u32)).collect()
    }

    /// Adds a column of edges.
    fn edges(&mut self, header: &Header, payload: &[u8], unpacker: &mut Unpacker) -> Result<(), String> {
        let index = usize::from(header.channel);
        let column = self.edges.get_mut(index).ok_or(NO_CHANNEL)?;
        if !column.is_empty() {
            return Err(TWICE.to_owned());
        }
        unpacker.edges(header, payload, column)?;
        let back = drop_what_goes_back(column, |edge| edge.tick(), &mut self.last_edges[index]);
        self.tell_back(back, EdgeChannel::ALL[index].name());
        Ok(())
    }

    /// Adds a column of samples.
    fn samples(&mut self, header: &Header, payload: &[u8], unpacker: &mut Unpacker) -> Result<(), String> {
        let index = usize::from(header.channel);
        let column = self.samples.get_mut(index).ok_or(NO_CHANNEL)?;
        if !column.is_empty() {
            return Err(TWICE.to_owned());
        }
        unpacker.samples(header, payload, column)?;
        let back = drop_what_goes_back(column, |sample| sample.at, &mut self.last_samples[index]);
        self.tell_back(back, &SampleChannel::at(index).map_or_else(String::new, SampleChannel::name));
        Ok(())
    }

    fn tell_back(&mut self, back: usize, name: &str) {
        if back > 0 {
            self.damage.push(format!("{back} entries of `{name}`: their times go back"));
        }
    }

    /// Moves up to `count` more entries of a column into `part`; what is not there was lost and is told elsewhere.
    fn some(&mut self, number: u8, count: usize, part: &mut Part) {
        match column(number) {
            Some(Ok(index)) => {
                take(&mut self.edges[index], &mut self.taken_edges[index], count, &mut part.edges[index]);
            }
            Some(Err(index)) => {
                take(&mut self.samples[index], &mut self.taken_samples[index], count, &mut part.samples[index]);
            }
            None => (),
        }
    }

    /// Forgets what was handed out and keeps its memory.
    fn clear(&mut self) {
        self.edges.iter_mut().for_each(Vec::clear);
        self.samples.iter_mut().for_each(Vec::clear);
        self.taken_edges.fill(0);
        self.taken_samples.fill(0);
    }
}

const NO_CHANNEL: &str = "it is of a channel that does not exist";
const TWICE: &str = "it comes a second time";

/// Takes out what comes before something that came earlier; returns how many that were.
fn drop_what_goes_back<T: Copy>(column: &mut Vec<T>, at: impl Fn(&T) -> Tick, last: &mut Tick) -> usize {
    let count = column.len();
    let goes_on = column.first().is_none_or(|first| at(first) >= *last);
    if goes_on && column.is_sorted_by_key(&at) {
        *last = column.last().map_or(*last, at);
        return 0;
    }
    column.retain(|entry| {
        let is_later = at(entry) >= *last;
        *last = at(entry).max(*last);
        is_later
    });
    count - column.len()
}

fn take<T: Copy>(column: &mut Vec<T>, taken: &mut usize, count: usize, into: &mut Vec<T>) {
    let start = *taken;
    *taken = start.saturating_add(count).min(column.len());
    if start == 0 && *taken == column.len() && into.is_empty() {
        // The whole column changes hands; what is left in its place is empty.
        *taken = 0;
        std::mem::swap(column, into);
    } else {
        into.extend_from_slice(&column[start..*taken]);
    }
}

impl<'a> Replay<'a> {
    pub fn new(ticks_per_second: u64, sink: &'a mut dyn CaptureSink) -> std::io::Result<Self> {
        let summary = Summary { ticks_per_second, whole: true, ..Summary::default() };
        Ok(Self {
            sink,
            summary,
            unpacker: Unpacker::new()?,
            stretch: Stretch::default(),
            part: Part::default(),
            done: 0,
            last_tick: 0,
            damages: 0,
            ended: false,
        })
    }

    /// Whether the block came that ends the file.
    pub fn is_ended(&self) -> bool {
        self.ended
    }

    /// So many bytes before a place were no block.
    pub fn damaged(&mut self, bytes: u64, place: u64) {
        if bytes > 0 {
            let at = place.saturating_sub(bytes);
            self.stretch.damage.push(format!("{bytes} damaged bytes of the capture file, at byte {at}"));
        }
    }

    /// Takes a block that is undamaged.
    pub fn block(&mut self, header: &Header, payload: &[u8]) {
        if header.stretch != self.done {
            self.leave_unordered(&format!("the journal of stretch {}", self.done));
            self.done = header.stretch;
        }
        self.last_tick = self.last_tick.max(header.first_tick.min(TICK_MAX));
        if header.kind == block::END {
            self.ended = true;
            return;
        }
        if let Err(why) = self.content(header, payload) {
            self.stretch.damage.push(format!("a block of the capture file, kind {}: {why}", header.kind));
        }
    }

    fn content(&mut self, header: &Header, payload: &[u8]) -> Result<(), String> {
        match header.kind {
            block::EDGES => self.stretch.edges(header, payload, &mut self.unpacker),
            block::SAMPLES => self.stretch.samples(header, payload, &mut self.unpacker),
            block::JOURNAL => {
                let text = self.unpacker.text(header, payload)?.to_vec();
                self.journal(&text);
                self.done = self.done.wrapping_add(1);
                Ok(())
            }
            _ => Err("this program does not know it".to_owned()),
        }
    }

    /// Hands out a stretch as its journal says.
    fn journal(&mut self, text: &[u8]) {
        let held = self.stretch.counts();
        for line in text.split(|&byte| byte == b'\n').filter(|line| !line.is_empty()) {
            match Entry::read(line) {
                Ok(Entry::Driven(driven)) => self.part.driven.push(driven),
                Ok(Entry::Line(line)) => self.part.lines.push(line),
                Ok(Entry::Loss(loss)) => self.part.losses.push(loss),
                Ok(Entry::Mark { since, mark }) => {
                    for (number, count) in since {
                        self.stretch.some(number, count as usize, &mut self.part);
                    }
                    self.hand_out();
                    self.summary.marks += 1;
                    self.sink.mark(&mark);
                }
                Ok(Entry::Columns(counts)) if counts != held => {
                    self.stretch.damage.push(format!("columns of the capture: {}", difference(&counts, &held)));
                }
                Ok(Entry::Columns(_)) => (),
                Err(why) => self.stretch.damage.push(format!("a line of the capture's journal: {why}")),
            }
        }
        self.leave(&held);
    }

    /// Hands out columns whose journal is missing.
    fn leave_unordered(&mut self, what: &str) {
        self.stretch.damage.push(format!("{what}, with its marks and transcript"));
        let held = self.stretch.counts();
        self.leave(&held);
    }

    /// Hands out what is left of the stretch's columns.
    fn leave(&mut self, held: &Counts) {
        for &(number, count) in held {
            self.stretch.some(number, count as usize, &mut self.part);
        }
        self.tell_damage();
        self.hand_out();
        self.stretch.clear();
    }

    /// Ends the file: `failure` is the read that ended it early, and `behind` so many bytes stand behind its end.
    pub fn end(mut self, failure: Option<&std::io::Error>, behind: u64) -> Summary {
        if let Some(failure) = failure {
            self.stretch.damage.push(format!("the rest of the capture file, which cannot be read: {failure}"));
        }
        if !self.ended {
            self.leave_unordered("the end of the capture file, which was cut off before it was finished");
        } else if behind > 0 {
            self.stretch.damage.push(format!("{behind} bytes behind the end of the capture file"));
        }
        self.tell_damage();
        self.hand_out();
        self.summary
    }

    fn tell_damage(&mut self) {
        self.summary.whole &= self.stretch.damage.is_empty();
        for what in self.stretch.damage.drain(..) {
            self.damages += 1;
            let what = match self.damages {
                ..=DAMAGES_MAX => what,
                _ if self.damages == DAMAGES_MAX + 1 => {
                    "more of the capture file, in places that are not listed".into()
                }
                _ => continue,
            };
            self.part.losses.push(Loss { at: self.last_tick, what });
        }
    }

    fn hand_out(&mut self) {
        let part = &mut self.part;
        if part.is_empty() {
            return;
        }
        part.losses.truncate(LOSSES_MAX.saturating_sub(self.summary.losses) as usize);
        self.summary.edges += part.edges.iter().map(|column| column.len() as u64).sum::<u64>();
        self.summary.samples += part.samples.iter().map(|column| column.len() as u64).sum::<u64>();
        self.summary.lines += part.lines.len() as u64;
        self.summary.losses += part.losses.len() as u64;
        self.sink.part(part);
        part.clear();
    }
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
