//! Bytes on the wire: 8N1 at 115200 baud, as a 16 MHz controller can make it.
//!
//! Its divider gives 16 MHz / (8·17) = 117647 baud, 2.1 % fast, which the data sheets of such controllers list; a receiver
//! samples the last bit 9.5 bit times after the start, so that nearly 5 % are borne (common practice, no source).

use std::collections::VecDeque;

use crate::sim::SimTime;
use crate::sim::chance::{Chance, Stream};

/// The bench's rate, baud.
const BENCH_BAUD: f64 = 115_200.0;
/// The unit's rate by its nominal clock, baud.
const UNIT_BAUD: f64 = 16.0e6 / (8.0 * 17.0);
/// Start, eight data bits, stop.
const BITS_PER_BYTE: f64 = 10.0;
/// Most bytes that wait in either direction; a talker who goes on is not heard.
const WAITING_MAX: usize = 4096;
/// Share of a bit by which the last one may be missed.
const SKEW_MAX: f64 = 0.5 / 9.5;

/// The serial link between bench and unit.
#[derive(Debug, Clone)]
pub struct Uart {
    to_unit: VecDeque<(SimTime, u8)>,
    to_bench: VecDeque<(SimTime, u8)>,
    to_unit_free: SimTime,
    to_bench_free: SimTime,
    bench_byte_ns: f64,
    unit_byte_ns: f64,
    too_skewed: bool,
    /// Probability that a byte is garbled on the line.
    garbled: f64,
    chance: Chance,
}

impl Uart {
    /// A quiet line to a unit whose clock has an error.
    pub fn new(clock_error: f64, garbled: f64, seed: u64) -> Self {
        let unit_baud = UNIT_BAUD * (1.0 + clock_error);
        Self {
            to_unit: VecDeque::with_capacity(64),
            to_bench: VecDeque::with_capacity(256),
            to_unit_free: 0,
            to_bench_free: 0,
            bench_byte_ns: BITS_PER_BYTE * 1e9 / BENCH_BAUD,
            unit_byte_ns: BITS_PER_BYTE * 1e9 / unit_baud,
            too_skewed: (unit_baud / BENCH_BAUD - 1.0).abs() > SKEW_MAX,
            garbled,
            chance: Chance::new(seed, Stream::Line),
        }
    }

    /// The bench begins to send.
    pub fn bench_sends(&mut self, now: SimTime, bytes: &[u8]) {
        for &byte in bytes {
            if self.to_unit.len() == WAITING_MAX {
                return;
            }
            self.to_unit_free = self.to_unit_free.max(now) + self.bench_byte_ns as u64;
            let byte = self.travelled(byte);
            self.to_unit.push_back((self.to_unit_free, byte));
        }
    }

    /// The unit begins to say a line.
    pub fn unit_says(&mut self, now: SimTime, line: &str) {
        for byte in line.bytes().chain(*b"\n") {
            if self.to_bench.len() == WAITING_MAX {
                return;
            }
            self.to_bench_free = self.to_bench_free.max(now) + self.unit_byte_ns as u64;
            let byte = self.travelled(byte);
            self.to_bench.push_back((self.to_bench_free, byte));
        }
    }

    fn travelled(&mut self, byte: u8) -> u8 {
        if self.too_skewed {
            return byte >> 1 | 0x80;
        }
        if self.chance.happens(self.garbled) { byte ^ 1 << (self.chance.bits() % 7) } else { byte }
    }

    /// The unit's supply went: what it was saying breaks off, what it was told is lost.
    pub fn unit_dies(&mut self, now: SimTime) {
        self.to_unit.clear();
        while self.to_bench.back().is_some_and(|&(at, _)| at > now) {
            self.to_bench.pop_back();
        }
        self.to_bench_free = now;
    }

    /// When the unit has received the next byte.
    pub fn next_for_unit(&self) -> SimTime {
        self.to_unit.front().map_or(SimTime::MAX, |&(at, _)| at)
    }

    /// A byte that the unit has received by now.
    pub fn take_for_unit(&mut self, now: SimTime) -> Option<u8> {
        take(&mut self.to_unit, now)
    }

    /// When the bench has received the next byte, if one is on its way.
    pub fn next_for_bench(&self) -> Option<SimTime> {
        self.to_bench.front().map(|&(at, _)| at)
    }

    /// A byte that the bench has received by now.
    pub fn take_for_bench(&mut self, now: SimTime) -> Option<u8> {
        take(&mut self.to_bench, now)
    }

    /// When all that the bench sent will have reached the unit.
    pub fn sent_at(&self) -> SimTime {
        self.to_unit_free
    }
}

fn take(queue: &mut VecDeque<(SimTime, u8)>, now: SimTime) -> Option<u8> {
    if queue.front()?.0 > now {
        return None;
    }
    queue.pop_front().map(|(_, byte)| byte)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_takes_ten_bits() {
        let mut uart = Uart::new(0.0, 0.0, 1);
        uart.bench_sends(1_000, b"AB");
        // 10 bits at 115200 baud are 86.8 µs.
        assert_eq!(uart.next_for_unit(), 1_000 + 86_805);
        assert_eq!(uart.take_for_unit(87_000), None);
        assert_eq!(uart.take_for_unit(90_000), Some(b'A'));
        uart.unit_says(0, "X");
        assert_eq!(uart.next_for_bench(), Some(85_000));
        uart.unit_dies(100_000);
        assert_eq!((uart.take_for_bench(200_000), uart.take_for_bench(400_000)), (Some(b'X'), None));
    }

    #[test]
    fn a_clock_far_off_garbles_everything_and_one_a_little_off_nothing() {
        let heard = |error| {
            let mut uart = Uart::new(error, 0.0, 1);
            uart.unit_says(0, "A");
            uart.take_for_bench(SimTime::MAX)
        };
        assert_eq!((heard(-0.04), heard(0.0)), (Some(b'A'), Some(b'A')));
        assert_ne!(heard(0.06), Some(b'A'));
    }
}
