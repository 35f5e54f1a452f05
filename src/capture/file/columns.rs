//! Columns of edges and samples as few bytes: what is regular is taken away, so that only the jitter is left to pack.
//!
//! Jitter packs best as distances from fitted curves, and a clock that only repeats its pattern as differences of
//! differences in a general compressor. The writer tries the second on a piece of the column before it does it all.

use super::block::{Header, PAYLOAD_LENGTH_MAX};
use super::varint::{put, take, un_zig_zag, zig_zag};
use super::{COLUMN_LENGTH, curve};
use crate::capture::{Edge, Sample, TICK_MAX};
use zstd::bulk::{Compressor, Decompressor};

/// Only files of version 1 have it.
const PLANES: u8 = 1;
const SECOND_DIFFERENCES: u8 = 2;
const CURVES: u8 = 3;
const SAMPLES_PLAIN: u8 = 1;
const PACKING_LEVEL: i32 = 3;
/// What repeats itself packs no better at higher levels.
const PACKING_LEVEL_FAST: i32 = 1;
/// Ticks of a column on which the compressor is tried.
const TRIED: usize = 2048;

const ALL_LOW: u8 = 0;
const ALL_HIGH: u8 = 1;
const ALTERNATING_FROM_LOW: u8 = 2;
const ALTERNATING_FROM_HIGH: u8 = 3;
const WRITTEN_OUT: u8 = 4;

/// A column ready to be stored.
pub(super) struct Packed<'a> {
    pub encoding: u8,
    pub raw_length: usize,
    pub payload: &'a [u8],
}

/// Packs columns; its memory is used again.
pub(super) struct Packer {
    fast: Compressor<'static>,
    thorough: Compressor<'static>,
    ticks: Vec<u64>,
    curves: Vec<u8>,
    raw: Vec<u8>,
    packed: Vec<u8>,
}

impl Packer {
    pub fn new() -> std::io::Result<Self> {
        Ok(Self {
            fast: Compressor::new(PACKING_LEVEL_FAST)?,
            thorough: Compressor::new(PACKING_LEVEL)?,
            ticks: Vec::new(),
            curves: Vec::new(),
            raw: Vec::new(),
            packed: Vec::new(),
        })
    }

    /// Packs transitions, by the transform that suits them.
    pub fn edges(&mut self, edges: &[Edge]) -> std::io::Result<Packed<'_>> {
        let (pattern, levels) = pack_levels(edges);
        self.ticks.clear();
        self.ticks.extend(edges.iter().map(|edge| edge.tick()));
        self.curves.clear();
        self.curves.extend_from_slice(&levels);
        curve::put_ticks(&self.ticks, &mut self.curves);
        if self.repeats(levels.len())? {
            self.raw.clear();
            self.raw.extend_from_slice(&levels);
            put_second_differences(self.ticks.iter().copied(), &mut self.raw);
            pack(&mut self.fast, &self.raw, &mut self.packed)?;
            if self.packed.len() < self.curves.len() {
                let encoding = pattern << 4 | SECOND_DIFFERENCES;
                return Ok(Packed { encoding, raw_length: self.raw.len(), payload: &self.packed });
            }
        }
        Ok(Packed { encoding: pattern << 4 | CURVES, raw_length: self.curves.len(), payload: &self.curves })
    }

    /// Whether the column may repeat itself so much that a compressor does better than curves: found on its middle.
    fn repeats(&mut self, levels_length: usize) -> std::io::Result<bool> {
        let count = self.ticks.len();
        if count <= 2 * TRIED {
            return Ok(true);
        }
        self.raw.clear();
        put_second_differences(self.ticks[(count - TRIED) / 2..][..TRIED].iter().copied(), &mut self.raw);
        pack(&mut self.fast, &self.raw, &mut self.packed)?;
        // A short piece packs a little worse than the whole.
        Ok(self.packed.len() * 4 * count < (self.curves.len() - levels_length) * 5 * TRIED)
    }

    /// Packs samples.
    pub fn samples(&mut self, samples: &[Sample]) -> std::io::Result<Packed<'_>> {
        self.raw.clear();
        put_second_differences(samples.iter().map(|sample| sample.at), &mut self.raw);
        let mut before = 0;
        for sample in samples {
            put(zig_zag(i64::from(sample.code) - before), &mut self.raw);
            before = i64::from(sample.code);
        }
        pack(&mut self.thorough, &self.raw, &mut self.packed)?;
        Ok(Packed { encoding: SAMPLES_PLAIN, raw_length: self.raw.len(), payload: &self.packed })
    }

    /// Packs text.
    pub fn text(&mut self, text: &[u8]) -> std::io::Result<&[u8]> {
        pack(&mut self.thorough, text, &mut self.packed)?;
        Ok(&self.packed)
    }
}

fn pack(with: &mut Compressor<'_>, raw: &[u8], into: &mut Vec<u8>) -> std::io::Result<()> {
    into.clear();
    into.reserve(zstd::zstd_safe::compress_bound(raw.len()));
    with.compress_to_buffer(raw, into).map(|_| ())
}

/// Unpacks payloads; its memory is used again.
pub(super) struct Unpacker {
    zstd: Decompressor<'static>,
    raw: Vec<u8>,
    ticks: Vec<u64>,
}

impl Unpacker {
    pub fn new() -> std::io::Result<Self> {
        Ok(Self { zstd: Decompressor::new()?, raw: Vec::new(), ticks: Vec::new() })
    }

    /// The payload without its compression, or what is wrong with it.
    pub fn text(&mut self, header: &Header, payload: &[u8]) -> Result<&[u8], String> {
        let length = header.raw_length as usize;
        if length > PAYLOAD_LENGTH_MAX {
            return Err(format!("it claims {length} bytes"));
        }
        self.raw.clear();
        self.raw.reserve(length);
        let unpacked = self.zstd.decompress_to_buffer(payload, &mut self.raw);
        unpacked.map_err(|error| format!("it does not unpack: {error}"))?;
        let found = self.raw.len();
        if found == length { Ok(&self.raw) } else { Err(format!("it holds {found} bytes instead of {length}")) }
    }

    /// Appends the transitions of a column, or tells what is wrong with it.
    pub fn edges(&mut self, header: &Header, payload: &[u8], into: &mut Vec<Edge>) -> Result<(), String> {
        let count = plausible(header.count)?;
        let (pattern, transform) = (header.encoding >> 4, header.encoding & 0x0F);
        if pattern > WRITTEN_OUT {
            return Err(format!("it has a pattern of levels {pattern} that this program does not know"));
        }
        if transform != CURVES {
            self.text(header, payload)?;
        }
        let raw = if transform == CURVES { payload } else { &self.raw };
        let levels_length = if pattern == WRITTEN_OUT { count.div_ceil(8) } else { 0 };
        let (levels, raw) = raw.split_at_checked(levels_length).ok_or("its levels are cut short")?;
        match transform {
            PLANES => take_planes(count, header.first_tick, raw, &mut self.ticks)?,
            SECOND_DIFFERENCES => take_last_second_differences(count, header.first_tick, raw, &mut self.ticks)?,
            CURVES => curve::take_ticks(count, header.first_tick, raw, &mut self.ticks)?,
            other => return Err(format!("it has a transform {other} that this program does not know")),
        }
        within_range(&self.ticks)?;
        let ticks = self.ticks.iter().enumerate();
        if pattern == WRITTEN_OUT {
            into.extend(ticks.map(|(index, &tick)| Edge::new(tick, levels[index / 8] >> (index % 8) & 1 == 1)));
        } else {
            let first = usize::from(matches!(pattern, ALL_HIGH | ALTERNATING_FROM_HIGH));
            let alternates = usize::from(matches!(pattern, ALTERNATING_FROM_LOW | ALTERNATING_FROM_HIGH));
            into.extend(ticks.map(|(index, &tick)| Edge::new(tick, first ^ (alternates & index) == 1)));
        }
        Ok(())
    }

    /// Appends the samples of a column, or tells what is wrong with it.
    pub fn samples(&mut self, header: &Header, payload: &[u8], into: &mut Vec<Sample>) -> Result<(), String> {
        if header.encoding != SAMPLES_PLAIN {
            return Err(format!("it has an encoding {} that this program does not know", header.encoding));
        }
        let count = plausible(header.count)?;
        self.text(header, payload)?;
        let mut rest = &self.raw[..];
        take_second_differences(count, header.first_tick, &mut rest, &mut self.ticks)?;
        within_range(&self.ticks)?;
        let (mut before, already) = (0_i64, into.len());
        for &at in &self.ticks {
            let code = take(&mut rest).map(|value| before.wrapping_add(un_zig_zag(value)));
            let code = code.and_then(|code| i32::try_from(code).map_err(|_| "it has a code beyond 32 bits".to_owned()));
            let code = code.inspect_err(|_| into.truncate(already))?;
            before = i64::from(code);
            into.push(Sample { at, code });
        }
        nothing_behind(rest).inspect_err(|_| into.truncate(already))
    }
}

fn plausible(count: u32) -> Result<usize, String> {
    match count as usize {
        count @ 1..=COLUMN_LENGTH => Ok(count),
        count => Err(format!("it claims {count} entries")),
    }
}

fn within_range(ticks: &[u64]) -> Result<(), String> {
    // A bit of any of them beyond the range shows in all of them together.
    let together = ticks.iter().fold(0, |together, tick| together | tick);
    if together <= TICK_MAX { Ok(()) } else { Err("it has a tick beyond the clock's range".to_owned()) }
}

fn nothing_behind(rest: &[u8]) -> Result<(), String> {
    if rest.is_empty() { Ok(()) } else { Err(format!("{} bytes too many", rest.len())) }
}

/// Levels mostly alternate, or never change; then they need no bytes.
fn pack_levels(edges: &[Edge]) -> (u8, Vec<u8>) {
    let first = edges.first().is_some_and(|edge| edge.level());
    if edges.iter().all(|edge| edge.level() == first) {
        return (if first { ALL_HIGH } else { ALL_LOW }, Vec::new());
    }
    if edges.windows(2).all(|pair| pair[0].level() != pair[1].level()) {
        return (if first { ALTERNATING_FROM_HIGH } else { ALTERNATING_FROM_LOW }, Vec::new());
    }
    let mut bits = vec![0; edges.len().div_ceil(8)];
    for (index, edge) in edges.iter().enumerate() {
        bits[index / 8] |= u8::from(edge.level()) << (index % 8);
    }
    (WRITTEN_OUT, bits)
}

fn take_planes(count: usize, first_tick: u64, raw: &[u8], ticks: &mut Vec<u64>) -> Result<(), String> {
    let differences = count - 1;
    if raw.len() != 4 * differences {
        return Err(format!("its planes hold {} bytes for {count} edges", raw.len()));
    }
    let mut tick = first_tick;
    ticks.clear();
    ticks.push(tick);
    ticks.extend((0..differences).map(|index| {
        let difference = u32::from_le_bytes(std::array::from_fn(|plane| raw[plane * differences + index]));
        tick = tick.wrapping_add(un_zig_zag(u64::from(difference)) as u64);
        tick
    }));
    Ok(())
}

fn put_second_differences(mut ticks: impl Iterator<Item = u64>, into: &mut Vec<u8>) {
    let Some(mut before) = ticks.next() else { return };
    let mut difference_before = 0_i64;
    for tick in ticks {
        let difference = tick.wrapping_sub(before) as i64;
        put(zig_zag(difference.wrapping_sub(difference_before)), into);
        (before, difference_before) = (tick, difference);
    }
}

fn take_second_differences(
    count: usize,
    first_tick: u64,
    rest: &mut &[u8],
    ticks: &mut Vec<u64>,
) -> Result<(), String> {
    let (mut tick, mut difference) = (first_tick, 0_i64);
    ticks.clear();
    ticks.push(tick);
    for _ in 1..count {
        difference = difference.wrapping_add(un_zig_zag(take(rest)?));
        tick = tick.wrapping_add(difference as u64);
        ticks.push(tick);
    }
    Ok(())
}

fn take_last_second_differences(
    count: usize,
    first_tick: u64,
    mut rest: &[u8],
    ticks: &mut Vec<u64>,
) -> Result<(), String> {
    take_second_differences(count, first_tick, &mut rest, ticks)?;
    nothing_behind(rest)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn header(packed: &Packed<'_>, count: usize, first_tick: u64) -> Header {
        Header {
            encoding: packed.encoding,
            count: count as u32,
            first_tick,
            raw_length: packed.raw_length as u32,
            ..Header::default()
        }
    }

    fn packed_and_back(edges: &[Edge]) -> (u8, usize, Vec<Edge>) {
        let mut packer = Packer::new().expect("memory");
        let packed = packer.edges(edges).expect("packs");
        let header = header(&packed, edges.len(), edges[0].tick());
        let mut back = Vec::new();
        let unpacked = Unpacker::new().expect("memory").edges(&header, packed.payload, &mut back);
        unpacked.expect("own packing");
        (packed.encoding & 0x0F, packed.payload.len(), back)
    }

    #[test]
    fn jitter_goes_by_curves_and_a_pattern_by_its_repetitions() {
        let mut state = 1_u64;
        let mut noise = || {
            // Xorshift (G. Marsaglia, 2003): enough to be no pattern.
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state >> 32 & 511
        };
        let jittery: Vec<Edge> = (0..50_000).map(|index| Edge::new(index * 125_000 + noise(), true)).collect();
        let dithered: Vec<Edge> =
            (0..50_000).map(|index| Edge::new(index * 278 - index % 3 * 5, index % 2 == 0)).collect();
        let (by, length, back) = packed_and_back(&jittery);
        assert!(by == CURVES && length < 50_000 * 11 / 8 && back == jittery, "transform {by}, {length} bytes");
        let (by, length, back) = packed_and_back(&dithered);
        assert!(by == SECOND_DIFFERENCES && length < 100 && back == dithered, "transform {by}, {length} bytes");
    }

    proptest! {
        #[test]
        fn edges_come_back(
            steps in prop::collection::vec((prop_oneof![0..4000_u64, Just(1 << 33)], any::<bool>()), 1..600),
            pattern in 0..3,
            start in 0..1_u64 << 50,
        ) {
            let mut tick = start;
            let edges: Vec<Edge> = steps.iter().enumerate().map(|(index, &(step, level))| {
                tick += step;
                Edge::new(tick, match pattern { 0 => level, 1 => index % 2 == 0, _ => true })
            }).collect();
            prop_assert_eq!(packed_and_back(&edges).2, edges);
        }

        #[test]
        fn samples_come_back(readings in prop::collection::vec((0..1_u64 << 40, any::<i32>()), 1..300)) {
            let samples: Vec<Sample> = readings.iter().map(|&(at, code)| Sample { at, code }).collect();
            let mut packer = Packer::new().expect("memory");
            let packed = packer.samples(&samples).expect("packs");
            let header = header(&packed, samples.len(), samples[0].at);
            let mut back = Vec::new();
            Unpacker::new().expect("memory").samples(&header, packed.payload, &mut back).expect("own packing");
            prop_assert_eq!(back, samples);
        }

        #[test]
        fn rubbish_is_refused_and_never_panics(
            encoding: u8, count in 0..70_000_u32, first_tick: u64, raw in prop::collection::vec(any::<u8>(), 0..300),
        ) {
            let mut unpacker = Unpacker::new().expect("memory");
            let packed = zstd::bulk::compress(&raw, 1).expect("memory");
            let header = Header { encoding, count, first_tick, raw_length: raw.len() as u32, ..Header::default() };
            let payload = if encoding & 0x0F == CURVES { &raw } else { &packed };
            let (mut edges, mut samples) = (Vec::new(), Vec::new());
            let taken = unpacker.edges(&header, payload, &mut edges);
            prop_assert_eq!(edges.len(), if taken.is_ok() { count as usize } else { 0 });
            let plain = Header { encoding: SAMPLES_PLAIN, ..header };
            let taken = unpacker.samples(&plain, &packed, &mut samples);
            prop_assert_eq!(samples.len(), if taken.is_ok() { count as usize } else { 0 });
        }
    }
}
