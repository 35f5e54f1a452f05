//! The simulated capture board's own voice: it speaks the protocol of `fixtures/jigs/capture-board-protocol.md` with code
//! of its own, so that a mistake on either side shows instead of cancelling out.
//!
//! It is as limited as a real board: its link carries so many bytes a second, its memory holds so many, and what finds no
//! room is dropped and owned up to.

use crate::capture::{OutputChannel, Part, Tick};

/// What is being asked of the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Asked {
    Hello { version: u8 },
    Start,
    Drive { request: u8, output: u8, on: bool },
    Heartbeat { number: u16 },
    Settle { request: u8 },
    Safe { request: u8 },
    Unknown,
}

/// The protocol's version that the board speaks.
pub(super) const VERSION: u8 = 1;
/// Reasons for refusing.
pub(super) const NO_SUCH_OUTPUT: u8 = 1;
pub(super) const UNKNOWN_VERSION: u8 = 2;
pub(super) const UNKNOWN_TYPE: u8 = 3;
pub(super) const NOT_STARTED: u8 = 4;

/// Bytes that wait for the link, at most: the memory of a small controller.
const ROOM: usize = 32 * 1024;
/// Of which so many are set aside for answers.
const ROOM_FOR_ANSWERS: usize = 1024;
/// The most bytes of a payload.
const PAYLOAD: usize = 245;
/// The longest record of an edge or a sample.
const RECORD: usize = 12;
/// The longest difference of ticks inside a frame.
const DIFFERENCE: u64 = 1 << 27;

/// What the board tells about itself.
#[derive(Debug, Clone, Copy)]
pub(super) struct Introduction<'a> {
    pub ticks_per_second: u32,
    pub scale_thousandths: u32,
    pub edges: u8,
    /// One bit for each control whose contact it stamps.
    pub controls: u8,
    pub outputs: u16,
    pub samples: u32,
    pub text: &'a str,
}

/// Ears and mouth of the board.
#[derive(Debug, Default)]
pub(super) struct Voice {
    heard: Vec<u8>,
    heard_number: u16,
    missing: u16,
    number: u16,
    outgoing: Vec<u8>,
    lost: u32,
    merged: Vec<(Tick, u8, i32)>,
}

impl Voice {
    /// Takes bytes from the computer and appends what they ask to `asked`.
    pub fn hear(&mut self, bytes: &[u8], asked: &mut Vec<Asked>) {
        for &byte in bytes {
            if byte != 0 {
                // A frame that is too long is not worth keeping; its check sum will be wrong.
                if self.heard.len() < 300 {
                    self.heard.push(byte);
                }
                continue;
            }
            let stuffed = std::mem::take(&mut self.heard);
            if stuffed.is_empty() {
                continue;
            }
            // What is damaged is missing in the count of frames, which the next whole one shows.
            if let Some((kind, number, payload)) = unstuffed(&stuffed).as_deref().and_then(taken_apart) {
                asked.push(self.understand(kind, number, payload));
            }
        }
    }

    fn understand(&mut self, kind: u8, number: u16, payload: &[u8]) -> Asked {
        let asked = match (kind, payload) {
            (1, &[version]) => Asked::Hello { version },
            (2, []) => Asked::Start,
            (3, &[request, output, on]) => Asked::Drive { request, output, on: on != 0 },
            (4, &[low, high]) => Asked::Heartbeat { number: u16::from_le_bytes([low, high]) },
            (5, &[request]) => Asked::Settle { request },
            (6, &[request]) => Asked::Safe { request },
            _ => Asked::Unknown,
        };
        if !matches!(asked, Asked::Hello { .. }) {
            self.missing = self.missing.saturating_add(number.wrapping_sub(self.heard_number));
        }
        self.heard_number = number.wrapping_add(1);
        asked
    }

    /// Forgets what waits to be sent, and counts its frames from 0 again.
    pub fn forget(&mut self) {
        self.number = 0;
        self.missing = 0;
        self.lost = 0;
        self.outgoing.clear();
    }

    pub fn introduce(&mut self, who: &Introduction<'_>) {
        let mut payload = vec![VERSION, 1 | who.controls << 4];
        payload.extend(who.ticks_per_second.to_le_bytes());
        payload.extend(who.scale_thousandths.to_le_bytes());
        payload.push(who.edges);
        payload.extend(who.outputs.to_le_bytes());
        payload.extend(who.samples.to_le_bytes());
        payload.extend(who.text.bytes());
        self.answer(0x81, &payload);
    }

    pub fn started(&mut self, at: Tick, levels: [u8; 2]) {
        let ([a, b, c, d], [first, controls]) = (low(at), levels);
        self.answer(0x82, &[a, b, c, d, first, controls]);
    }

    pub fn switched(&mut self, request: u8, output: OutputChannel, on: bool, at: Tick) {
        let [a, b, c, d] = low(at);
        self.answer(0x85, &[request, output.index() as u8, u8::from(on), a, b, c, d]);
    }

    pub fn beat(&mut self, number: u16, at: Tick) {
        let mut payload = number.to_le_bytes().to_vec();
        payload.extend(low(at));
        payload.extend(self.missing.to_le_bytes());
        self.answer(0x86, &payload);
    }

    pub fn settled(&mut self, request: u8, at: Tick) {
        let [a, b, c, d] = low(at);
        self.answer(0x87, &[request, a, b, c, d]);
    }

    pub fn refuse(&mut self, request: u8, reason: u8) {
        self.answer(0x89, &[request, reason]);
    }

    /// Says the edges and samples of a part.
    pub fn stream(&mut self, part: &Part, now: Tick) {
        let mut merged = std::mem::take(&mut self.merged);
        for (kind, first, last) in [(0x83, 0, 8), (0x8A, 8, part.edges.len())] {
            merged.clear();
            for (channel, column) in part.edges[first..last].iter().enumerate() {
                let record = |level: bool| (channel as u8) << 1 | u8::from(level);
                merged.extend(column.iter().map(|edge| (edge.tick(), record(edge.level()), 0)));
            }
            merged.sort_unstable();
            self.records(kind, &merged, |record, into| put_number(record.0 << 4 | u64::from(record.1), into));
        }
        merged.clear();
        for (channel, column) in part.samples.iter().enumerate() {
            merged.extend(column.iter().map(|sample| (sample.at, channel as u8, sample.code)));
        }
        merged.sort_unstable();
        self.records(0x84, &merged, |record, into| {
            put_number(record.0 << 5 | u64::from(record.1), into);
            put_number(((record.2 << 1) ^ (record.2 >> 31)) as u32 as u64, into);
        });
        self.merged = merged;
        self.own_up(now);
    }

    /// Says records in as few frames as they fit in; `put` gets each with its tick counted from the one before.
    fn records(&mut self, kind: u8, records: &[(Tick, u8, i32)], put: impl Fn((u64, u8, i32), &mut Vec<u8>)) {
        let mut rest = records;
        while let Some(&(start, ..)) = rest.first() {
            let mut payload = low(start).to_vec();
            let mut before = start;
            let mut count = 0;
            for &(at, what, code) in rest {
                if payload.len() + RECORD > PAYLOAD || at - before >= DIFFERENCE {
                    break;
                }
                put((at - before, what, code), &mut payload);
                before = at;
                count += 1;
            }
            if self.outgoing.len() + payload.len() + 8 <= ROOM - ROOM_FOR_ANSWERS {
                self.say(kind, &payload);
            } else {
                self.lost = self.lost.saturating_add(count as u32);
            }
            rest = &rest[count..];
        }
    }

    /// Tells what was dropped, as soon as there is room again.
    fn own_up(&mut self, now: Tick) {
        if self.lost > 0 && self.outgoing.len() + 32 <= ROOM - ROOM_FOR_ANSWERS {
            let mut payload = low(now).to_vec();
            payload.extend(u16::try_from(self.lost).unwrap_or(u16::MAX).to_le_bytes());
            self.say(0x88, &payload);
            self.lost = 0;
        }
    }

    /// An answer that finds no room is not given; the computer will call the board silent.
    fn answer(&mut self, kind: u8, payload: &[u8]) {
        if self.outgoing.len() + payload.len() + 8 <= ROOM {
            self.say(kind, payload);
        }
    }

    fn say(&mut self, kind: u8, payload: &[u8]) {
        let mut body = vec![kind];
        body.extend(self.number.to_le_bytes());
        body.extend(payload);
        body.extend(sum(&body).to_le_bytes());
        self.number = self.number.wrapping_add(1);
        stuff(&body, &mut self.outgoing);
    }

    /// What waits for the link.
    pub fn outgoing(&self) -> &[u8] {
        &self.outgoing
    }

    /// Notes that the link took so many bytes.
    pub fn sent(&mut self, count: usize) {
        self.outgoing.drain(..count);
    }
}

fn low(tick: Tick) -> [u8; 4] {
    (tick as u32).to_le_bytes()
}

fn put_number(mut number: u64, into: &mut Vec<u8>) {
    loop {
        let seven = (number & 127) as u8;
        number >>= 7;
        if number == 0 {
            into.push(seven);
            return;
        }
        into.push(seven + 128);
    }
}

/// Replaces zeros by the distance to the next one. Zero blocks have a code below 255, since a frame is that short.
fn stuff(body: &[u8], into: &mut Vec<u8>) {
    debug_assert!(body.len() < 254, "one code byte reaches over the whole frame");
    for block in body.split(|&byte| byte == 0) {
        into.push(block.len() as u8 + 1);
        into.extend(block);
    }
    into.push(0);
}

fn unstuffed(stuffed: &[u8]) -> Option<Vec<u8>> {
    let mut body = Vec::with_capacity(stuffed.len());
    let mut rest = stuffed;
    loop {
        let (&code, behind) = rest.split_first()?;
        let (block, behind) = behind.split_at_checked(usize::from(code).checked_sub(1)?)?;
        body.extend(block);
        if behind.is_empty() {
            return Some(body);
        }
        if code < 255 {
            body.push(0);
        }
        rest = behind;
    }
}

/// Type, number and payload, where the check sum is right: the sum over a body with its own sum behind is zero.
fn taken_apart(body: &[u8]) -> Option<(u8, u16, &[u8])> {
    if body.len() < 5 || sum(body) != 0 {
        return None;
    }
    Some((body[0], u16::from_le_bytes([body[1], body[2]]), &body[3..body.len() - 2]))
}

/// The sum as a small controller would compute it, with a table of 16 entries and half a byte at a time.
fn sum(bytes: &[u8]) -> u16 {
    const HALF: [u16; 16] = [
        0x0000, 0x1081, 0x2102, 0x3183, 0x4204, 0x5285, 0x6306, 0x7387, 0x8408, 0x9489, 0xA50A, 0xB58B, 0xC60C, 0xD68D,
        0xE70E, 0xF78F,
    ];
    let mut sum = 0xFFFF_u16;
    for &byte in bytes {
        sum = sum >> 4 ^ HALF[usize::from((sum as u8 ^ byte) & 15)];
        sum = sum >> 4 ^ HALF[usize::from((sum as u8 ^ byte >> 4) & 15)];
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::EdgeChannel;

    /// Check value of CRC-16/MCRF4XX. Source: Greg Cook, "Catalogue of parametrised CRC algorithms" (reveng).
    // Outside: catalogue of parametrised CRC algorithms, CRC-16/MCRF4XX, as the simulated board computes it; how: from memory
    #[test]
    fn the_check_sum_is_the_published_one() {
        assert_eq!(sum(b"123456789"), 0x6F91);
    }

    /// The example of Cheshire and Baker, "Consistent overhead byte stuffing", IEEE/ACM Transactions on Networking 7-2
    /// (1999), with zeros at either end; worked out by hand from their rule.
    // Outside: Cheshire and Baker (1999), consistent overhead byte stuffing, the simulated board's; how: from memory
    #[test]
    fn stuffing_leaves_no_zero_and_comes_back() {
        let mut stuffed = Vec::new();
        stuff(&[0, 0x45, 0, 0, 0x2C, 0x4C, 0], &mut stuffed);
        assert_eq!(stuffed, [0x01, 0x02, 0x45, 0x01, 0x03, 0x2C, 0x4C, 0x01, 0x00]);
        assert_eq!(unstuffed(&stuffed[..8]), Some(vec![0, 0x45, 0, 0, 0x2C, 0x4C, 0]));
        assert_eq!((unstuffed(&[5, 1]), unstuffed(&[])), (None, None));
    }

    fn said(voice: &mut Voice) -> Vec<(u8, u16, Vec<u8>)> {
        let frames = voice.outgoing.split(|&byte| byte == 0).filter(|frame| !frame.is_empty());
        let frames = frames.map(|frame| {
            let body = unstuffed(frame).expect("well stuffed");
            let (kind, number, payload) = taken_apart(&body).expect("right sum");
            (kind, number, payload.to_vec())
        });
        let frames = frames.collect();
        voice.outgoing.clear();
        frames
    }

    #[test]
    fn edges_of_all_channels_go_in_order_of_time() {
        let mut voice = Voice::default();
        let mut part = Part::default();
        part.push_edge(EdgeChannel::Guard, 1500, true);
        part.push_edge(EdgeChannel::Step, 1000, true);
        part.push_edge(EdgeChannel::Step, 1278, true);
        voice.stream(&part, 2000);
        let expected = vec![0xE8, 0x03, 0, 0, 0x01, 0xE1, 0x22, 0xEF, 0x1B];
        assert_eq!(said(&mut voice), [(0x83, 0, expected)]);
    }

    #[test]
    fn a_link_that_takes_nothing_makes_the_board_drop_and_own_up() {
        let mut voice = Voice::default();
        let mut pushed = 0;
        for slice in 0..400_u64 {
            let mut part = Part::default();
            (0..100).for_each(|edge| part.push_edge(EdgeChannel::Step, slice * 20_000 + edge * 200, true));
            pushed += 100;
            voice.stream(&part, slice * 20_000);
        }
        assert!(voice.outgoing.len() <= ROOM);
        voice.answer(0x86, &[0; 8]);
        let waiting = said(&mut voice);
        assert_eq!(waiting.last().map(|frame| frame.0), Some(0x86), "answers have room set aside");
        voice.stream(&Part::default(), 9_000_000);
        let overrun = said(&mut voice);
        let (0x88, number, payload) = &overrun[0] else { panic!("{overrun:?}") };
        assert_eq!(usize::from(*number), waiting.len(), "no frame was begun and dropped");
        let lost = u64::from(u16::from_le_bytes([payload[4], payload[5]]));
        assert!(lost > 0 && lost < pushed, "{lost} of {pushed}");
    }

    #[test]
    fn frames_of_the_computer_that_do_not_arrive_whole_are_counted() {
        let mut computer = Voice::default();
        let mut voice = Voice::default();
        let mut asked = Vec::new();
        for (kind, payload) in [(1, &[1][..]), (4, &[7, 0]), (4, &[8, 0]), (5, &[3]), (9, &[])] {
            computer.say(kind, payload);
        }
        let bytes = std::mem::take(&mut computer.outgoing);
        let mut frames: Vec<Vec<u8>> = bytes.split_inclusive(|&byte| byte == 0).map(<[u8]>::to_vec).collect();
        frames[1][3] ^= 0x40;
        frames.iter().for_each(|frame| voice.hear(frame, &mut asked));
        let expected =
            [Asked::Hello { version: 1 }, Asked::Heartbeat { number: 8 }, Asked::Settle { request: 3 }, Asked::Unknown];
        assert_eq!(asked, expected);
        voice.beat(8, 0x1_0000_0002);
        let (kind, _, payload) = said(&mut voice).remove(0);
        assert_eq!((kind, payload), (0x86, vec![8, 0, 2, 0, 0, 0, 1, 0]));
    }
}
