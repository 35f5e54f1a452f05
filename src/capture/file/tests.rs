//! The file as a whole: what goes in comes out, in order; damage is told and never fatal; how small it is.

use std::io::Write;

use proptest::prelude::*;

use super::{CaptureError, CaptureReader, CaptureWriter, Summary, read};
use crate::capture::{
    Action, CaptureSink, Cue, Destination, Driven, EdgeChannel, Line, Loss, Mark, MarkKind, OutputChannel, Part, Phase,
    SampleChannel, Side, TICK_MAX, Talker,
};

/// What a sink was given; parts without a mark between them are one.
#[derive(Debug, Default, PartialEq)]
struct Told(Vec<(Part, Option<Mark>)>);

impl Told {
    fn open(&mut self) -> &mut Part {
        if self.0.last().is_none_or(|last| last.1.is_some()) {
            self.0.push((Part::default(), None));
        }
        &mut self.0.last_mut().expect("just pushed").0
    }

    fn losses(&self) -> impl Iterator<Item = &Loss> {
        self.0.iter().flat_map(|(part, _)| &part.losses)
    }
}

impl CaptureSink for Told {
    fn part(&mut self, part: &Part) {
        let into = self.open();
        for (column, more) in into.edges.iter_mut().zip(&part.edges) {
            column.extend_from_slice(more);
        }
        for (column, more) in into.samples.iter_mut().zip(&part.samples) {
            column.extend_from_slice(more);
        }
        into.driven.extend_from_slice(&part.driven);
        into.lines.extend_from_slice(&part.lines);
        into.losses.extend_from_slice(&part.losses);
    }

    fn mark(&mut self, mark: &Mark) {
        self.open();
        self.0.last_mut().expect("open").1 = Some(mark.clone());
    }
}

enum Input {
    Part(Box<Part>),
    Mark(Mark),
}

fn written(inputs: &[Input]) -> Vec<u8> {
    let mut writer = CaptureWriter::new(Vec::new(), 2_000_000).expect("memory");
    for input in inputs {
        match input {
            Input::Part(part) => writer.part(part),
            Input::Mark(mark) => writer.mark(mark),
        }
    }
    writer.finish().expect("memory")
}

fn told(inputs: &[Input]) -> Told {
    let mut told = Told::default();
    for input in inputs {
        match input {
            Input::Part(part) if part.is_empty() => (),
            Input::Part(part) => told.part(part),
            Input::Mark(mark) => told.mark(mark),
        }
    }
    told
}

fn read_back(bytes: &[u8]) -> Result<(Told, Summary), CaptureError> {
    let mut told = Told::default();
    let summary = read(bytes, &mut told)?;
    Ok((told, summary))
}

/// Two short checks with a bit of everything.
fn small() -> Vec<Input> {
    let mark = |at, kind| Input::Mark(Mark { at, doubt: 40, kind });
    let mut inputs = Vec::new();
    for check in 0..2_usize {
        let start = check as u64 * 4_000_000;
        inputs.push(mark(start + 1, MarkKind::CheckBegins { check }));
        let action = Action::Travel { to: Destination::End(Side::Left), speed: 0.09, level: None };
        let phase = Phase { check, ordinal: 0, label: "to the left end at 90 mm/s".into(), action };
        inputs.push(mark(start + 2, MarkKind::PhaseBegins(phase)));
        let mut part = Part::default();
        for step in 0..40 {
            part.push_edge(EdgeChannel::Step, start + 1000 + 278 * step, true);
            part.push_edge(EdgeChannel::EncoderA, start + 1100 + 560 * step, step % 2 == 0);
            part.push_sample(SampleChannel::PackVoltage, start + 8000 * step, 6000 - step as i32);
        }
        part.push_sample(SampleChannel::Light(15), start, -3);
        part.driven.push(Driven { at: start + 5, output: OutputChannel::UnitSupply, on: check == 0 });
        part.lines.push(Line { at: start + 9, from: Talker::Bench, text: "GO L 90.0 \u{FFFD} \"quoted\"".into() });
        inputs.push(Input::Part(Box::new(part)));
        inputs.push(mark(start + 20_000, MarkKind::Cue(Cue::Done)));
        let mut late = Part::default();
        late.push_edge(EdgeChannel::Step, start + 30_000, true);
        late.losses.push(Loss { at: start + 30_001, what: "3 edges".into() });
        inputs.push(Input::Part(Box::new(late)));
        inputs.push(mark(start + 40_000, MarkKind::PhaseEnds));
        inputs.push(mark(start + 40_000, MarkKind::CheckEnds { check }));
    }
    inputs
}

#[test]
fn what_goes_in_comes_out_in_order() {
    let inputs = small();
    let (back, summary) = read_back(&written(&inputs)).expect("whole");
    assert_eq!(back, told(&inputs));
    let expected =
        Summary { ticks_per_second: 2_000_000, edges: 162, samples: 82, lines: 2, marks: 10, losses: 2, whole: true };
    assert_eq!(summary, expected);
}

#[test]
fn a_column_longer_than_a_block_is_split_and_joined() {
    let mut part = Part::default();
    for step in 0..200_000_u64 {
        part.push_edge(EdgeChannel::Step, step * 250 + step % 7, true);
        part.push_edge(EdgeChannel::EncoderB, step * 250 + step % 11, step % 2 == 1);
    }
    let end = Mark { at: 50_000_000, doubt: 0, kind: MarkKind::PhaseEnds };
    let inputs = [Input::Part(Box::new(part)), Input::Mark(end)];
    let (back, summary) = read_back(&written(&inputs)).expect("whole");
    assert_eq!(back, told(&inputs));
    assert!(summary.whole && summary.edges == 400_000, "{summary:?}");
}

/// Two short checks, and then steps with jitter.
fn jittery() -> Vec<Input> {
    let mut inputs = small();
    let mut part = Part::default();
    let mut state = 1_u64;
    for step in 0..700_u64 {
        // Xorshift (G. Marsaglia, 2003): the same noise for ever.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        let noise = state >> 32 & 63;
        part.push_edge(EdgeChannel::Step, 10_000_000 + 250 * step + step * step / 64 + noise, true);
        part.push_edge(EdgeChannel::Guard, 10_000_000 + 5000 * step + noise * noise, step % 3 == 0);
    }
    inputs.push(Input::Part(Box::new(part)));
    inputs
}

/// The files stay as their releases wrote them, for ever: they must read the same whatever the writer does by then.
#[test]
fn a_file_of_version_1_still_reads() {
    let bytes = include_bytes!("../../../tests/data/captures/version-1.capture");
    let (back, summary) = read_back(bytes).expect("whole");
    assert!(summary.whole);
    assert_eq!(back, told(&small()));
}

#[test]
fn a_file_of_version_2_still_reads() {
    let bytes = include_bytes!("../../../tests/data/captures/version-2.capture");
    let (back, summary) = read_back(bytes).expect("whole");
    assert!(summary.whole && bytes[8] == 2);
    assert_eq!(back, told(&jittery()));
}

/// What version 3 brought: rounds of a check, each with evidence of its own.
fn in_rounds() -> Vec<Input> {
    let mut inputs = jittery();
    let mark = |at, kind| Input::Mark(Mark { at, doubt: 0, kind });
    let mut at = 20_000_000;
    inputs.push(mark(at, MarkKind::CheckBegins { check: 2 }));
    for round in 0..3 {
        let mut part = Part::default();
        part.push_edge(EdgeChannel::Step, at + 100 + round, true);
        inputs.push(Input::Part(Box::new(part)));
        at += 1_000_000;
        inputs.push(mark(at, MarkKind::RoundEnds { check: 2 }));
    }
    inputs.push(mark(at, MarkKind::CheckEnds { check: 2 }));
    inputs
}

#[test]
fn a_file_of_version_3_still_reads() {
    let bytes = include_bytes!("../../../tests/data/captures/version-3.capture");
    let (back, summary) = read_back(bytes).expect("whole");
    assert!(summary.whole && bytes[8] == 3);
    assert_eq!(back, told(&in_rounds()));
}

#[test]
fn every_flipped_byte_is_noticed() {
    let bytes = written(&small());
    let (whole, _) = read_back(&bytes).expect("whole");
    for at in 0..bytes.len() {
        let mut damaged = bytes.clone();
        damaged[at] ^= 0x20;
        match read_back(&damaged) {
            Ok((told, summary)) => {
                assert!(!summary.whole, "byte {at} of {}", bytes.len());
                assert!(told.losses().count() > whole.losses().count(), "byte {at}: damage without a loss");
            }
            Err(error) => assert!(at < super::HEAD_LENGTH, "byte {at}: {error}"),
        }
    }
}

#[test]
fn a_file_cut_anywhere_gives_what_it_holds_and_a_loss() {
    let bytes = written(&small());
    let (whole, _) = read_back(&bytes).expect("whole");
    let mut most = 0;
    for length in super::HEAD_LENGTH..bytes.len() {
        let (told, summary) = read_back(&bytes[..length]).expect("the head is whole");
        assert!(!summary.whole && told.losses().any(|loss| loss.what.contains("cut off")), "cut at {length}");
        let edges: usize = told.0.iter().map(|(part, _)| part.edges.iter().map(Vec::len).sum::<usize>()).sum();
        assert!(edges >= most, "cut at {length}: {edges} edges after {most}");
        most = edges;
    }
    assert_eq!(most, whole.0.iter().map(|(part, _)| part.edges.iter().map(Vec::len).sum::<usize>()).sum::<usize>());
}

/// The headers alone lead from block to block, and a block that was found so is unpacked without any other.
#[test]
fn any_block_can_be_read_alone() {
    let bytes = written(&jittery());
    let mut at = super::HEAD_LENGTH;
    let mut blocks = Vec::new();
    while let Some((header, length)) = super::block::begin(&bytes[at..]) {
        blocks.push((header, super::block::payload(&bytes[at..at + length]).expect("undamaged")));
        at += length;
    }
    assert_eq!(at, bytes.len());
    let is_wanted = |header: &super::block::Header| {
        (header.kind, header.channel) == (super::block::EDGES, 0) && header.first_tick >= 10_000_000
    };
    let (header, payload) = blocks.iter().find(|(header, _)| is_wanted(header)).expect("the steps with jitter");
    let mut edges = Vec::new();
    let unpacked = super::columns::Unpacker::new().expect("memory").edges(header, payload, &mut edges);
    assert_eq!((unpacked, edges.len()), (Ok(()), 700));
    assert!(edges[699].tick() > 10_000_000 + 250 * 699);
}

#[test]
fn one_damaged_column_costs_only_itself() {
    let bytes = written(&small());
    let mut damaged = bytes.clone();
    damaged[super::HEAD_LENGTH + super::block::HEADER_LENGTH + 3] ^= 1;
    let (told, summary) = read_back(&damaged).expect("the head is whole");
    assert_eq!((summary.edges, summary.samples, summary.marks), (162 - 41, 82, 10));
    assert!(told.losses().any(|loss| loss.what.contains("0 of 41 entries of `step` are left")), "{told:?}");
}

#[test]
fn what_goes_back_in_time_is_left_out_and_told() {
    let mut part = Part::default();
    for (tick, level) in
        [(100, true), (200, false), (150, true), (150, false), (200, true), (u64::from(u32::MAX), false)]
    {
        part.push_edge(EdgeChannel::EncoderA, tick, level);
    }
    // A counter that rolls over begins anew.
    let mut rolled = Part::default();
    rolled.push_edge(EdgeChannel::EncoderA, 50, true);
    rolled.push_sample(SampleChannel::PackVoltage, 60, 1);
    rolled.push_sample(SampleChannel::PackVoltage, 59, 2);
    let ends = Mark { at: 0, doubt: 0, kind: MarkKind::CheckEnds { check: 0 } };
    let inputs = [Input::Part(Box::new(part)), Input::Mark(ends), Input::Part(Box::new(rolled))];
    let (told, summary) = read_back(&written(&inputs)).expect("the head is whole");
    assert_eq!((summary.edges, summary.samples, summary.whole), (4, 1, false));
    let losses: Vec<&str> = told.losses().map(|loss| loss.what.as_str()).collect();
    assert_eq!(losses.iter().filter(|what| what.contains("their times go back")).count(), 3, "{losses:?}");
}

/// Blocks that are whole and say what no writer does: a moment beyond all clocks, a column twice, a check without number.
#[test]
fn what_no_writer_writes_is_told() {
    let mut part = Part::default();
    part.push_edge(EdgeChannel::Step, TICK_MAX + 1, true);
    let odd = Mark { at: 1, doubt: u64::MAX, kind: MarkKind::PhaseEnds };
    let endless = Mark { at: 1, doubt: 0, kind: MarkKind::CheckBegins { check: usize::MAX } };
    let (told, summary) = read_back(&written(&[Input::Part(Box::new(part)), Input::Mark(odd), Input::Mark(endless)]))
        .expect("the head is whole");
    assert_eq!((summary.edges, summary.marks), (0, 0));
    assert!(told.losses().any(|loss| loss.what.contains("beyond the clock's range")), "{told:?}");
    assert_eq!(told.losses().filter(|loss| loss.what.contains("beyond its range")).count(), 2, "{told:?}");
    let bytes = written(&small());
    let first = super::HEAD_LENGTH;
    let length = super::block::begin(&bytes[first..]).expect("a block").1;
    let twice = [&bytes[..first + length], &bytes[first..]].concat();
    let (told, summary) = read_back(&twice).expect("the head is whole");
    assert_eq!((summary.edges, summary.whole), (162, false));
    assert!(told.losses().any(|loss| loss.what.contains("a second time")), "{told:?}");
}

/// A file on a disk that fails gives what was read, and a loss.
#[test]
fn a_read_that_fails_ends_the_capture() {
    struct Failing<'a>(&'a [u8]);
    impl std::io::Read for Failing<'_> {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            let count = self.0.len().min(into.len()).min(100);
            into[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            if count == 0 { Err(std::io::ErrorKind::TimedOut.into()) } else { Ok(count) }
        }
    }
    let bytes = written(&small());
    let mut told = Told::default();
    let summary = read(Failing(&bytes[..bytes.len() - 10]), &mut told).expect("the head is whole");
    assert_eq!((summary.edges, summary.whole), (162, false));
    assert!(told.losses().any(|loss| loss.what.contains("cannot be read")), "{told:?}");
    assert!(matches!(read(Failing(&bytes[..10]), &mut told), Err(CaptureError::Unreadable(_))));
}

#[test]
fn what_is_no_capture_is_refused() {
    assert!(matches!(CaptureReader::open(&b"$date today $end"[..]), Err(CaptureError::Foreign)));
    assert!(matches!(CaptureReader::open(&b""[..]), Err(CaptureError::Foreign)));
    let mut newer = written(&[]);
    let without_a_clock = CaptureWriter::new(Vec::new(), 0).and_then(CaptureWriter::finish).expect("memory");
    assert!(matches!(CaptureReader::open(&without_a_clock[..]), Err(CaptureError::DamagedHead)));
    newer[8] = 200;
    let sum = crc32fast::hash(&newer[..20]).to_le_bytes();
    newer[20..24].copy_from_slice(&sum);
    assert!(matches!(CaptureReader::open(&newer[..]), Err(CaptureError::Newer { found: 200 })));
    assert_eq!(CaptureReader::open(&written(&[])[..]).expect("whole").ticks_per_second(), 2_000_000);
}

#[test]
fn a_full_disk_is_told_at_the_end() {
    struct Full(usize);
    impl Write for Full {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0 = self.0.checked_sub(bytes.len()).ok_or(std::io::ErrorKind::StorageFull)?;
            Ok(bytes.len())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let mut writer = CaptureWriter::new(Full(100), 1).expect("room for the head");
    for input in small() {
        match input {
            Input::Part(part) => writer.part(&part),
            Input::Mark(mark) => writer.mark(&mark),
        }
    }
    assert_eq!(writer.finish().err().map(|error| error.kind()), Some(std::io::ErrorKind::StorageFull));
}

proptest! {
    #[test]
    fn garbage_behind_a_head_never_panics(garbage in prop::collection::vec(any::<u8>(), 0..2000)) {
        let mut bytes = written(&[]);
        bytes.truncate(super::HEAD_LENGTH);
        bytes.extend_from_slice(&garbage);
        let (_, summary) = read_back(&bytes).expect("the head is whole");
        prop_assert!(!summary.whole);
    }

    #[test]
    fn any_sequence_comes_back(
        script in prop::collection::vec((0..4_u8, 0..8_usize, 0..21_usize, 0..50_u64, any::<bool>()), 0..60),
    ) {
        let mut at = 0;
        let inputs: Vec<Input> = script.into_iter().map(|(what, edge, sample, count, level)| {
            let mut part = Part::default();
            match what {
                0 => return Input::Mark(Mark { at, doubt: count, kind: MarkKind::Cue(Cue::Commanded) }),
                1 => return Input::Mark(Mark { at, doubt: count, kind: MarkKind::CheckEnds { check: edge } }),
                2 => for _ in 0..count {
                    at += 1 + count * 100;
                    part.push_edge(EdgeChannel::ALL[edge], at, level);
                },
                _ => for index in 0..count {
                    at += 9000;
                    part.push_sample(SampleChannel::at(sample).expect("in range"), at, index as i32 * 30 - 700);
                },
            }
            Input::Part(Box::new(part))
        }).collect();
        let (back, summary) = read_back(&written(&inputs)).expect("whole");
        prop_assert!(summary.whole);
        prop_assert_eq!(back, told(&inputs));
    }
}
