//! Writes a capture file as the evidence comes in.

use std::io::Write;

use super::block::{self, Header};
use super::columns::{Packed, Packer};
use super::journal::{Counts, Entry, edge_column, sample_column};
use super::{COLUMN_LENGTH, HEAD_LENGTH, SIGNATURE, VERSION};
use crate::capture::{CaptureSink, EdgeChannel, Mark, MarkKind, Part, Tick};

/// A journal longer than this closes its stretch.
const JOURNAL_LENGTH: usize = 1 << 20;

/// Evidence older than this goes to the file at the end of a move, so that no more of a run whose program dies is lost, s.
const HELD_BACK_S: u64 = 5;

/// A sink that streams everything into a capture file.
///
/// A failed write is kept and told by [`CaptureWriter::finish`]; after it nothing more is written.
pub struct CaptureWriter<W: Write> {
    to: W,
    failure: Option<std::io::Error>,
    stretch: u32,
    pending: Part,
    packer: Packer,
    /// How much of each pending column stood before the last mark.
    marked: Counts,
    journal: Vec<u8>,
    last_tick: Tick,
    ticks_per_second: u64,
    /// Up to when everything is in the file.
    flushed: Tick,
}

impl<W: Write> CaptureWriter<W> {
    /// Begins a file in `to`, which should be buffered.
    pub fn new(mut to: W, ticks_per_second: u64) -> std::io::Result<Self> {
        let mut head = Vec::with_capacity(HEAD_LENGTH);
        head.extend_from_slice(&SIGNATURE);
        head.extend_from_slice(&VERSION.to_le_bytes());
        head.extend_from_slice(&[0, 0]);
        head.extend_from_slice(&ticks_per_second.to_le_bytes());
        head.extend_from_slice(&crc32fast::hash(&head).to_le_bytes());
        to.write_all(&head)?;
        // A file without its head is none, and a program may die before the first check ends.
        to.flush()?;
        Ok(Self {
            to,
            failure: None,
            stretch: 0,
            pending: Part::default(),
            packer: Packer::new()?,
            marked: Counts::new(),
            journal: Vec::new(),
            last_tick: 0,
            ticks_per_second,
            flushed: 0,
        })
    }

    /// The write that failed, if one did; nothing was written after it.
    pub fn failure(&self) -> Option<&std::io::Error> {
        self.failure.as_ref()
    }

    /// Ends the file and hands back what it was written to.
    pub fn finish(mut self) -> std::io::Result<W> {
        self.guarded(|writer| {
            writer.close_stretch()?;
            let end =
                Header { kind: block::END, stretch: writer.stretch, first_tick: writer.last_tick, ..Header::default() };
            put(&mut writer.to, &end, &[])?;
            writer.to.flush()
        });
        match self.failure {
            None => Ok(self.to),
            Some(failure) => Err(failure),
        }
    }

    fn guarded(&mut self, work: impl FnOnce(&mut Self) -> std::io::Result<()>) {
        if self.failure.is_none() {
            self.failure = work(self).err();
        }
    }

    fn take_part(&mut self, part: &Part) -> std::io::Result<()> {
        for driven in &part.driven {
            self.enter(&Entry::Driven(*driven), driven.at)?;
        }
        for line in &part.lines {
            self.enter(&Entry::Line(line.clone()), line.at)?;
        }
        for loss in &part.losses {
            self.enter(&Entry::Loss(loss.clone()), loss.at)?;
        }
        for index in 0..part.edges.len() {
            let mut rest = &part.edges[index][..];
            while let Some(last) = rest.last() {
                let (now, later) = rest.split_at(rest.len().min(COLUMN_LENGTH - self.pending.edges[index].len()));
                self.last_tick = self.last_tick.max(last.tick());
                self.pending.edges[index].extend_from_slice(now);
                rest = later;
                self.close_when_full(self.pending.edges[index].len())?;
            }
        }
        for index in 0..part.samples.len() {
            let mut rest = &part.samples[index][..];
            while let Some(last) = rest.last() {
                let (now, later) = rest.split_at(rest.len().min(COLUMN_LENGTH - self.pending.samples[index].len()));
                self.last_tick = self.last_tick.max(last.at);
                self.pending.samples[index].extend_from_slice(now);
                rest = later;
                self.close_when_full(self.pending.samples[index].len())?;
            }
        }
        self.close_when_full(0)
    }

    fn take_mark(&mut self, mark: &Mark) -> std::io::Result<()> {
        let counts = self.counts();
        let since = counts
            .iter()
            .map(|&(column, count)| {
                let before = self.marked.iter().find(|marked| marked.0 == column).map_or(0, |marked| marked.1);
                (column, count - before)
            })
            .filter(|&(_, count)| count > 0)
            .collect();
        self.marked = counts;
        self.enter(&Entry::Mark { since, mark: mark.clone() }, mark.at)?;
        let held_back = mark.at.saturating_sub(self.flushed) / self.ticks_per_second.max(1);
        let is_due = match mark.kind {
            MarkKind::RoundEnds { .. } | MarkKind::CheckEnds { .. } => true,
            MarkKind::PhaseEnds => held_back >= HELD_BACK_S,
            _ => false,
        };
        if is_due {
            self.close_stretch()?;
            self.to.flush()?;
            self.flushed = mark.at;
        }
        Ok(())
    }

    fn enter(&mut self, entry: &Entry, at: Tick) -> std::io::Result<()> {
        self.last_tick = self.last_tick.max(at);
        entry.write(&mut self.journal)?;
        self.close_when_full(0)
    }

    /// Lengths of the pending columns that are not empty.
    fn counts(&self) -> Counts {
        let edges =
            EdgeChannel::ALL.into_iter().map(|channel| (edge_column(channel), self.pending.edges(channel).len()));
        let samples =
            self.pending.samples.iter().enumerate().map(|(index, column)| (sample_column(index), column.len()));
        edges.chain(samples).filter(|column| column.1 > 0).map(|(column, count)| (column, count as u32)).collect()
    }

    fn close_when_full(&mut self, length: usize) -> std::io::Result<()> {
        if length >= COLUMN_LENGTH || self.journal.len() >= JOURNAL_LENGTH { self.close_stretch() } else { Ok(()) }
    }

    fn close_stretch(&mut self) -> std::io::Result<()> {
        let counts = self.counts();
        if counts.is_empty() && self.journal.is_empty() {
            return Ok(());
        }
        for index in 0..self.pending.edges.len() {
            if let [first, ..] = self.pending.edges[index][..] {
                let count = self.pending.edges[index].len();
                let packed = self.packer.edges(&self.pending.edges[index])?;
                put_column(&mut self.to, self.stretch, (block::EDGES, index), count, first.tick(), &packed)?;
            }
        }
        for index in 0..self.pending.samples.len() {
            if let [first, ..] = self.pending.samples[index][..] {
                let count = self.pending.samples[index].len();
                let packed = self.packer.samples(&self.pending.samples[index])?;
                put_column(&mut self.to, self.stretch, (block::SAMPLES, index), count, first.at, &packed)?;
            }
        }
        Entry::Columns(counts).write(&mut self.journal)?;
        let header = Header {
            kind: block::JOURNAL,
            stretch: self.stretch,
            first_tick: self.last_tick,
            raw_length: self.journal.len() as u32,
            ..Header::default()
        };
        put(&mut self.to, &header, self.packer.text(&self.journal)?)?;
        self.stretch += 1;
        self.pending.clear();
        self.marked.clear();
        self.journal.clear();
        Ok(())
    }
}

fn put_column(
    to: &mut impl Write,
    stretch: u32,
    (kind, channel): (u8, usize),
    count: usize,
    first_tick: Tick,
    packed: &Packed<'_>,
) -> std::io::Result<()> {
    let header = Header {
        kind,
        channel: channel as u8,
        encoding: packed.encoding,
        stretch,
        count: count as u32,
        first_tick,
        raw_length: packed.raw_length as u32,
    };
    put(to, &header, packed.payload)
}

fn put(to: &mut impl Write, header: &Header, payload: &[u8]) -> std::io::Result<()> {
    let mut bytes = Vec::with_capacity(block::HEADER_LENGTH + payload.len());
    block::write(header, payload, &mut bytes);
    to.write_all(&bytes)
}

impl<W: Write> CaptureSink for CaptureWriter<W> {
    fn part(&mut self, part: &Part) {
        self.guarded(|writer| writer.take_part(part));
    }

    fn mark(&mut self, mark: &Mark) {
        self.guarded(|writer| writer.take_mark(mark));
    }
}
