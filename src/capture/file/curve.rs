//! Ticks as their distances from fitted curves: what is left of a step clock is its jitter alone.
//!
//! Differences of ticks carry the jitter of two edges, differences of differences that of three times as much; the
//! distance from a parabola through a hundred edges carries that of one. Distances are coded as Rice does: a few low
//! bits as they are, the rest as a run of zeros (R. F. Rice, JPL Publication 79-22, 1979).
//!
//! Ticks come in groups of up to 128. A group is: its width `k` in a byte, plus 64 where it is short, and then its
//! length less one in another byte; three zig-zag varints, by which the curve's start, slope and bend differ from how
//! the curve of the group before would go on, in units of 2^(k+13), 2^(k+9) and 2^(k+4); the distances; zero bits up
//! to a whole byte. The curve is in fixed point with 16 bits behind the point: the distance of a tick is counted from
//! start >> 16, then the slope is added to the start and the bend to the slope. The first curve goes on from the first
//! tick, without slope and bend. A zig-zag distance is written lowest bit first: its bits from `k` on as so many zeros
//! and a one, then its `k` low bits. Where that would be 24 zeros or more, 24 zeros and the whole distance in 64 bits.
//! Sums wrap round.

use super::varint::{put, take, un_zig_zag, zig_zag};

/// The most ticks of a group: so many average the jitter out, and a ramp is still nearly a parabola.
const GROUP: usize = 128;
/// Bits behind the point of a curve.
const POINT: u32 = 16;
/// So many zeros say that the distance stands there whole.
const WHOLE: u32 = 24;
/// The greatest width; it fits a word together with the zeros.
const WIDTH_MAX: u32 = 32;
/// Stands with the width of a group that is shorter than usual.
const SHORT: u8 = 64;
/// Units of a curve's start, slope and bend, in powers of two beside the width: their roundings stay below a quarter of
/// the jitter over a whole group.
const UNITS: [u32; 3] = [13, 9, 4];
/// A group that is so many bits wider than the one before is looked through for a pause.
const SUDDEN: u32 = 3;

/// A curve in fixed point.
#[derive(Clone, Copy, Default)]
struct Curve {
    /// Whole ticks from which `start` counts.
    base: u64,
    start: i64,
    slope: i64,
    bend: i64,
}

impl Curve {
    #[inline]
    fn tick(&self) -> u64 {
        self.base.wrapping_add((self.start >> POINT) as u64)
    }

    #[inline]
    fn go_on(&mut self) {
        self.start = self.start.wrapping_add(self.slope);
        self.slope = self.slope.wrapping_add(self.bend);
    }

    /// Takes the whole ticks out of the start, so that it never runs over.
    fn settle(&mut self) {
        self.base = self.tick();
        self.start &= (1 << POINT) - 1;
    }

    /// Changes start, slope and bend by so many units.
    fn change(&mut self, by: [i64; 3], width: u32) {
        let change = |value: i64, index: usize| value.wrapping_add(by[index].wrapping_shl(width + UNITS[index]));
        (self.start, self.slope, self.bend) = (change(self.start, 0), change(self.slope, 1), change(self.bend, 2));
    }
}

/// A parabola through ticks, by least squares, about their middle.
struct Fit {
    middle: f64,
    mean: f64,
    slope: f64,
    /// Half of the second derivative.
    square: f64,
    /// What is taken from a square, so that the squares have no mean.
    square_mean: f64,
}

impl Fit {
    /// Least squares over evenly spaced points, by orthogonal polynomials.
    fn of(heights: &[f64]) -> Self {
        let n = heights.len() as f64;
        let middle = 0.5 * (n - 1.0);
        let square_mean = (n * n - 1.0) / 12.0;
        let (mut sum, mut along, mut bent) = (0.0, 0.0, 0.0);
        for (index, height) in heights.iter().enumerate() {
            let x = index as f64 - middle;
            sum += height;
            along += x * height;
            bent += (x * x - square_mean) * height;
        }
        let slope = if heights.len() < 2 { 0.0 } else { along / (n * square_mean) };
        let square = if heights.len() < 4 { 0.0 } else { bent / (n * (n * n - 1.0) * (n * n - 4.0) / 180.0) };
        Self { middle, mean: sum / n, slope, square, square_mean }
    }

    fn at(&self, index: usize) -> f64 {
        let x = index as f64 - self.middle;
        self.mean + self.slope * x + self.square * (x * x - self.square_mean)
    }

    /// The width that suits the distances: the logarithm of their zig-zag mean.
    fn width(&self, heights: &[f64]) -> u32 {
        let sum: f64 = heights.iter().enumerate().map(|(index, height)| (height - self.at(index)).abs()).sum();
        let mean = 2.0 * sum / heights.len() as f64;
        // The exponent of a number of at least one is the whole part of its logarithm.
        (((mean.max(1.0).to_bits() >> 52) as u32) - 1023).min(WIDTH_MAX)
    }

    /// By how many units a curve has to change to become this one. Each rounding is made up for by the next value.
    fn changes(&self, curve: &Curve, width: u32) -> [i64; 3] {
        let fixed = f64::from(1 << POINT);
        let unit = |index: usize| ((width + UNITS[index]) as f64).exp2();
        let bend = ((2.0 * self.square * fixed - curve.bend as f64) / unit(2)).round();
        let square = 0.5 * (curve.bend as f64 + bend * unit(2)) / fixed;
        let first_slope = (self.slope + square * (1.0 - 2.0 * self.middle)) * fixed;
        let slope = ((first_slope - curve.slope as f64) / unit(1)).round();
        let middle_slope = (curve.slope as f64 + slope * unit(1)) / fixed - square * (1.0 - 2.0 * self.middle);
        let first = self.mean - middle_slope * self.middle + square * (self.middle * self.middle - self.square_mean);
        let start = ((first * fixed - curve.start as f64) / unit(0)).round();
        [start as i64, slope as i64, bend as i64]
    }
}

/// Appends all ticks.
pub(super) fn put_ticks(ticks: &[u64], into: &mut Vec<u8>) {
    let mut curve = Curve { base: ticks.first().copied().unwrap_or(0), ..Curve::default() };
    let mut rest = ticks;
    let mut heights = [0.0; GROUP];
    let mut width_before = WIDTH_MAX;
    while !rest.is_empty() {
        let mut length = rest.len().min(GROUP);
        for (height, tick) in heights.iter_mut().zip(&rest[..length]) {
            *height = tick.wrapping_sub(curve.base) as i64 as f64;
        }
        let mut fit = Fit::of(&heights[..length]);
        let mut width = fit.width(&heights[..length]);
        if width >= width_before + SUDDEN {
            length = before_pause(&heights[..length]);
            fit = Fit::of(&heights[..length]);
            width = fit.width(&heights[..length]);
        }
        width_before = width;
        let (group, later) = rest.split_at(length);
        put_group(group, &fit, width, &mut curve, into);
        rest = later;
    }
}

/// How many ticks there are before the longest interval.
fn before_pause(heights: &[f64]) -> usize {
    let interval = |at: &usize| heights[*at] - heights[at - 1];
    (1..heights.len()).max_by(|one, other| interval(one).total_cmp(&interval(other))).unwrap_or(heights.len())
}

fn put_group(ticks: &[u64], fit: &Fit, width: u32, curve: &mut Curve, into: &mut Vec<u8>) {
    if ticks.len() == GROUP {
        into.push(width as u8);
    } else {
        into.extend([width as u8 | SHORT, ticks.len() as u8 - 1]);
    }
    let changes = fit.changes(curve, width);
    changes.into_iter().for_each(|change| put(zig_zag(change), into));
    curve.change(changes, width);
    let mut bits = BitWriter { into, held: 0, count: 0 };
    for tick in ticks {
        let distance = zig_zag(tick.wrapping_sub(curve.tick()) as i64);
        curve.go_on();
        let zeros = distance >> width;
        if zeros < u64::from(WHOLE) {
            let low = distance & ((1 << width) - 1);
            bits.put((low << 1 | 1) << zeros, zeros as u32 + 1 + width);
        } else {
            bits.put(0, WHOLE);
            bits.put(distance & u64::from(u32::MAX), 32);
            bits.put(distance >> 32, 32);
        }
    }
    bits.end();
    curve.settle();
}

/// Ticks into `ticks`, `count` of them, or what is wrong with the bytes.
pub(super) fn take_ticks(count: usize, first_tick: u64, bytes: &[u8], ticks: &mut Vec<u64>) -> Result<(), String> {
    ticks.clear();
    ticks.reserve(count);
    let mut curve = Curve { base: first_tick, ..Curve::default() };
    let mut rest = bytes;
    while ticks.len() < count {
        let (&head, behind) = rest.split_first().ok_or("it is cut short")?;
        rest = behind;
        let mut length = GROUP;
        if head & SHORT != 0 {
            let (&less_one, behind) = rest.split_first().ok_or("it is cut short")?;
            (rest, length) = (behind, usize::from(less_one) + 1);
        }
        let width = u32::from(head & !SHORT);
        if width > WIDTH_MAX || length > count - ticks.len() {
            return Err(format!("it has a group of {length} ticks and {width} bits that cannot be"));
        }
        let mut changes = [0; 3];
        for change in &mut changes {
            *change = un_zig_zag(take(&mut rest)?);
        }
        curve.change(changes, width);
        let used = take_distances(length, width, rest, &mut curve, ticks);
        rest = rest.get(used..).ok_or("it is cut short")?;
        curve.settle();
    }
    if rest.is_empty() { Ok(()) } else { Err(format!("{} bytes too many", rest.len())) }
}

/// Takes the distances of a group; returns how many bytes they took, which may be more than there are.
fn take_distances(length: usize, width: u32, bytes: &[u8], curve: &mut Curve, ticks: &mut Vec<u64>) -> usize {
    let mut at = 0;
    ticks.extend((0..length).map(|_| {
        let window = word(bytes, at);
        let zeros = window.trailing_zeros();
        let distance = if zeros < WHOLE {
            at += (zeros + 1 + width) as usize;
            u64::from(zeros) << width | (window >> (zeros + 1)) & ((1 << width) - 1)
        } else {
            let low = word(bytes, at + WHOLE as usize) & u64::from(u32::MAX);
            let high = word(bytes, at + WHOLE as usize + 32) & u64::from(u32::MAX);
            at += WHOLE as usize + 64;
            low | high << 32
        };
        let tick = curve.tick().wrapping_add(un_zig_zag(distance) as u64);
        curve.go_on();
        tick
    }));
    at.div_ceil(8)
}

/// The bits from a place on, at least 57 of them; zeros behind the end.
#[inline]
fn word(bytes: &[u8], bit: usize) -> u64 {
    let at = bit / 8;
    let whole = match bytes.get(at..at + 8) {
        Some(eight) => u64::from_le_bytes(eight.try_into().expect("eight bytes")),
        None => {
            let rest = bytes.get(at..).unwrap_or_default();
            rest.iter().rev().fold(0, |word, byte| word << 8 | u64::from(*byte))
        }
    };
    whole >> (bit % 8)
}

/// Bits on their way into bytes, lowest first.
struct BitWriter<'a> {
    into: &'a mut Vec<u8>,
    held: u64,
    count: u32,
}

impl BitWriter<'_> {
    /// Appends up to 56 bits.
    #[inline]
    fn put(&mut self, bits: u64, count: u32) {
        self.held |= bits << self.count;
        self.count += count;
        let whole = self.count / 8;
        let length = self.into.len();
        self.into.extend_from_slice(&self.held.to_le_bytes());
        self.into.truncate(length + whole as usize);
        self.held = self.held.unbounded_shr(8 * whole);
        self.count %= 8;
    }

    /// Fills the last byte up.
    fn end(self) {
        if self.count > 0 {
            self.into.push(self.held as u8);
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn there_and_back(ticks: &[u64]) -> usize {
        let (mut bytes, mut back) = (Vec::new(), Vec::new());
        put_ticks(ticks, &mut bytes);
        take_ticks(ticks.len(), ticks[0], &bytes, &mut back).expect("own bytes");
        assert_eq!(back, ticks);
        bytes.len()
    }

    // Outside: Rice codes at k = 1 (JPL 79-22), zeros for ones and the lowest bit first; how: from memory
    #[test]
    fn distances_are_rice_codes() {
        let mut bits = Vec::new();
        let mut curve = Curve::default();
        let fit = Fit { middle: 0.0, mean: 0.0, slope: 0.0, square: 0.0, square_mean: 0.0 };
        // Zig-zag distances 0, 1 (which is -1), 4 and 7: at k = 1 they are 1 0, 1 1, 001 0 and 0001 1.
        put_group(&[0, u64::MAX, 2, (-4_i64) as u64], &fit, 1, &mut curve, &mut bits);
        assert_eq!(bits, [1 | SHORT, 3, 0, 0, 0, 0b0100_1101, 0b0001_1000]);
    }

    #[test]
    fn a_straight_clock_costs_a_bit_and_a_pause_costs_a_group() {
        let straight: Vec<u64> = (0..12_800).map(|index| 77 + index * 250).collect();
        assert!(there_and_back(&straight) < 12_800 / 8 * 13 / 10);
        let paused: Vec<u64> =
            straight.iter().map(|tick| tick + u64::from(*tick > 1_500_000) * 3_000_000_000).collect();
        assert!(there_and_back(&paused) < there_and_back(&straight) + 60);
    }

    #[test]
    fn extremes_come_back() {
        there_and_back(&[0]);
        there_and_back(&[u64::MAX, 0, u64::MAX, 1 << 63, 5]);
        let wild: Vec<u64> = (0..300_u64).map(|index| index.wrapping_mul(0x9E37_79B9_7F4A_7C15)).collect();
        there_and_back(&wild);
    }

    proptest! {
        #[test]
        fn any_ticks_come_back(ticks in prop::collection::vec(prop_oneof![any::<u64>(), 0..5000_u64], 1..400)) {
            there_and_back(&ticks);
        }

        #[test]
        fn a_noisy_ramp_comes_back(
            steps in prop::collection::vec(0..9000_u64, 1..1000), first in any::<u32>(), slower in 0..40_u64,
        ) {
            let mut tick = u64::from(first);
            let ticks: Vec<u64> = steps.iter().enumerate().map(|(index, step)| {
                tick += 10_000 + slower * index as u64;
                tick + step
            }).collect();
            there_and_back(&ticks);
        }

        #[test]
        fn bytes_cut_short_are_refused(length in 1..500_u64, cut in 0.0..1.0) {
            let ticks: Vec<u64> = (0..length).map(|index| index * index * 37).collect();
            let mut bytes = Vec::new();
            put_ticks(&ticks, &mut bytes);
            let keep = (bytes.len() as f64 * cut) as usize;
            prop_assert!(take_ticks(ticks.len(), 0, &bytes[..keep], &mut Vec::new()).is_err());
        }
    }
}
