//! A capture board that has far more to say than any that is shipped: 200,000 edges a second over a serial port (pseudo
//! terminal), heard by the jig's own code, none lost, in less than half a core.
//!
//! The board speaks the protocol of `fixtures/jigs/capture-board-protocol.md` with code of its own. `RAILPROOF_RATE_S` says
//! for how many seconds.

use railproof::capture::{EdgeChannel, OutputChannel, Part};
use railproof::clock::{Clock, ComputerClock, HostTime};
use railproof::jig::Jig;
use railproof::jig::capture_board::{CaptureBoard, Expected};
use railproof::port::{Port, Pty, SerialPort, SerialSettings};
use rustix::time::{ClockId, clock_gettime};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

const TICKS_PER_SECOND: u64 = 2_000_000;
const EDGES_PER_SECOND: u64 = 200_000;
const TICKS_PER_EDGE: u64 = TICKS_PER_SECOND / EDGES_PER_SECOND;
/// The board's clock as it starts: a second later its 32 bits roll over.
const FIRST_TICK: u32 = u32::MAX - 2_000_000;
/// Edges in a frame: with four bytes of tick and two for each they fit into its 245.
const EDGES_PER_FRAME: u64 = 115;
/// What a board has for bytes that wait for the link.
const ROOM: usize = 32 * 1024;

/// Processor time that a clock shows, s.
fn processor_s(clock: ClockId) -> f64 {
    let time = clock_gettime(clock);
    time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
}

/// Channel and level of an edge, by its number from 1: both tracks of an encoder in turn.
fn edge(number: u64) -> (EdgeChannel, bool) {
    let channel = if number % 2 == 1 { EdgeChannel::EncoderA } else { EdgeChannel::EncoderB };
    (channel, matches!(number % 4, 1 | 2))
}

fn sum(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |sum, &byte| {
        (0..8).fold(sum ^ u16::from(byte), |sum, _| if sum & 1 == 1 { sum >> 1 ^ 0x8408 } else { sum >> 1 })
    })
}

/// The busy board.
struct Busy {
    port: Pty,
    clock: ComputerClock,
    heard: Vec<u8>,
    unsent: Vec<u8>,
    sequence: u16,
    began: Option<HostTime>,
    edges_all: u64,
    edges_said: u64,
    fullest: usize,
}

impl Busy {
    fn say(&mut self, kind: u8, payload: &[u8]) {
        let mut body = vec![kind];
        body.extend(self.sequence.to_le_bytes());
        body.extend(payload);
        body.extend(sum(&body).to_le_bytes());
        self.sequence = self.sequence.wrapping_add(1);
        for block in body.split(|&byte| byte == 0) {
            self.unsent.push(block.len() as u8 + 1);
            self.unsent.extend(block);
        }
        self.unsent.push(0);
    }

    fn ticks(&self) -> u64 {
        let since = self.began.map_or(Duration::ZERO, |began| self.clock.now().since(began));
        since.as_nanos() as u64 * TICKS_PER_SECOND / 1_000_000_000
    }

    fn tick(&self) -> [u8; 4] {
        FIRST_TICK.wrapping_add(self.ticks() as u32).to_le_bytes()
    }

    /// Says the edges that are due.
    fn stream(&mut self) {
        let due = (self.ticks() / TICKS_PER_EDGE).min(self.edges_all);
        while self.began.is_some() && self.edges_said < due {
            let first = self.edges_said + 1;
            let last = due.min(self.edges_said + EDGES_PER_FRAME);
            let mut payload = FIRST_TICK.wrapping_add((first * TICKS_PER_EDGE) as u32).to_le_bytes().to_vec();
            for number in first..=last {
                let (channel, level) = edge(number);
                let since = if number == first { 0 } else { TICKS_PER_EDGE };
                let record = since << 4 | (channel as u64) << 1 | u64::from(level);
                if record > 127 {
                    payload.push((record & 127) as u8 | 128);
                    payload.push((record >> 7) as u8);
                } else {
                    payload.push(record as u8);
                }
            }
            self.say(0x83, &payload);
            self.edges_said = last;
        }
    }

    fn hear(&mut self, frame: &[u8]) {
        let mut body = Vec::new();
        let mut rest = frame;
        while let Some((&code, behind)) = rest.split_first() {
            let (block, behind) = behind.split_at(usize::from(code) - 1);
            body.extend(block);
            rest = behind;
            if !rest.is_empty() {
                body.push(0);
            }
        }
        let [kind, _, _, payload @ .., _, _] = &body[..] else { return };
        let [a, b, c, d] = self.tick();
        match (kind, payload) {
            (1, _) => {
                (self.sequence, self.began) = (0, None);
                let mut identity = vec![1, 1];
                identity.extend((TICKS_PER_SECOND as u32).to_le_bytes());
                identity.extend(1000_u32.to_le_bytes());
                identity.extend([0xFF, 1, 0, 0, 0, 0, 0]);
                identity.extend(b"busy board");
                self.say(0x81, &identity);
            }
            (2, _) => {
                self.began = Some(self.clock.now());
                let [a, b, c, d] = FIRST_TICK.to_le_bytes();
                self.say(0x82, &[a, b, c, d, 0]);
            }
            (4, &[low, high]) => self.say(0x86, &[low, high, a, b, c, d, 0, 0]),
            (5 | 6, &[request]) => {
                self.stream();
                self.say(0x87, &[request, a, b, c, d]);
            }
            _ => self.say(0x89, &[0, 3]),
        }
    }

    /// Works until it is stopped; gives the processor time that it took and how many bytes waited at most.
    fn work(mut self, stop: &AtomicBool) -> (f64, usize) {
        while !stop.load(Ordering::Relaxed) {
            Pty::wait_for_any(&[&self.port], self.clock.now().after(Duration::from_millis(1))).expect("open");
            self.port.receive(&mut self.heard, HostTime::default()).expect("open");
            while let Some(end) = self.heard.iter().position(|&byte| byte == 0) {
                let frame: Vec<u8> = self.heard.drain(..=end).collect();
                self.hear(&frame[..end]);
            }
            self.stream();
            let sent = self.port.send_some(&self.unsent).expect("open");
            self.unsent.drain(..sent);
            self.fullest = self.fullest.max(self.unsent.len());
        }
        (processor_s(ClockId::ThreadCPUTime), self.fullest)
    }
}

/// Checks that what has arrived is what comes next, and counts it. A channel's first entry says how it stands at the start.
fn take(part: &mut Part, counts: &mut [u64; 2]) {
    assert_eq!(part.losses, []);
    for (track, channel) in [EdgeChannel::EncoderA, EdgeChannel::EncoderB].into_iter().enumerate() {
        for arrived in part.edges(channel) {
            let expected = match counts[track] {
                0 => (0, false),
                count => {
                    let number = 2 * count - 1 + track as u64;
                    (number * TICKS_PER_EDGE, edge(number).1)
                }
            };
            assert_eq!((arrived.tick(), arrived.level()), expected, "entry {} of {}", counts[track], channel.name());
            counts[track] += 1;
        }
    }
    part.clear();
}

#[test]
fn two_hundred_thousand_edges_a_second_are_heard_without_loss() {
    let seconds = std::env::var("RAILPROOF_RATE_S").map_or(2, |text| text.parse().expect("a number of seconds"));
    let clock = ComputerClock::new();
    let port = Pty::open(clock.clone()).expect("a pty");
    let name = port.name().to_owned();
    let edges_all = seconds * EDGES_PER_SECOND;
    let busy = Busy {
        port,
        clock: clock.clone(),
        heard: Vec::new(),
        unsent: Vec::new(),
        sequence: 0,
        began: None,
        edges_all,
        edges_said: 0,
        fullest: 0,
    };
    let stop = Arc::new(AtomicBool::new(false));
    let stopped = Arc::clone(&stop);
    let board = std::thread::spawn(move || busy.work(&stopped));

    let port = SerialPort::open(&name, SerialSettings::at(1_000_000), clock.clone()).expect("its port");
    let expected = Expected {
        ticks_per_second: TICKS_PER_SECOND,
        edges: &EdgeChannel::ALL[..8],
        samples: &[],
        outputs: &[OutputChannel::UnitSupply],
    };
    let mut jig = CaptureBoard::open(Box::new(port), clock.clone(), &expected).expect("a board that fits");
    let (mut part, mut counts) = (Part::default(), [0; 2]);
    let end = clock.now().after(Duration::from_secs(seconds));
    while clock.now() < end {
        clock.sleep_until(clock.now().after(Duration::from_millis(20)));
        jig.collect(&mut part).expect("the board is there");
        take(&mut part, &mut counts);
    }
    jig.settle(&mut part).expect("it settles");
    take(&mut part, &mut counts);
    drop(jig);
    stop.store(true, Ordering::Relaxed);
    let (board_s, fullest) = board.join().expect("the board works");

    // Each channel's first entry is no edge.
    let heard = counts[0] + counts[1] - 2;
    let share = (processor_s(ClockId::ProcessCPUTime) - board_s) / seconds as f64;
    println!("{heard} edges in {seconds} s, {:.1} % of a core, at most {fullest} bytes waited", 100.0 * share);
    assert_eq!(heard, edges_all, "edges heard and edges said");
    assert!(fullest <= ROOM, "{fullest} bytes waited: a board would have dropped edges");
    if !cfg!(debug_assertions) {
        assert!(share < 0.5, "{:.1} % of a core", 100.0 * share);
    }
}
