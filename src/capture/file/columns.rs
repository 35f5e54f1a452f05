//! Columns of edges and samples as few bytes: what is regular is taken away, so that only the jitter is left to pack.

use super::COLUMN_LENGTH;
use crate::capture::{Edge, Sample};

const PLANES: u8 = 1;
const SECOND_DIFFERENCES: u8 = 2;
const SAMPLES_PLAIN: u8 = 1;
const PACKING_LEVEL: i32 = 3;
/// Jitter that survives two differences packs no better at higher levels.
const PACKING_LEVEL_FAST: i32 = 1;

const ALL_LOW: u8 = 0;
const ALL_HIGH: u8 = 1;
const ALTERNATING_FROM_LOW: u8 = 2;
const ALTERNATING_FROM_HIGH: u8 = 3;
const WRITTEN_OUT: u8 = 4;

/// A column ready to be stored.
pub(super) struct Packed {
    pub encoding: u8,
    pub raw_length: usize,
    pub payload: Vec<u8>,
}

/// Packs transitions: the smaller of both transforms.
pub(super) fn pack_edges(edges: &[Edge]) -> std::io::Result<Packed> {
    let (pattern, levels) = pack_levels(edges);
    let mut raw = levels.clone();
    put_second_differences(edges.iter().map(|edge| edge.tick()), &mut raw);
    let mut best = pack(pattern << 4 | SECOND_DIFFERENCES, &raw, PACKING_LEVEL_FAST)?;
    raw.truncate(levels.len());
    if put_planes(edges, &mut raw) {
        let planes = pack_planes(pattern << 4 | PLANES, levels.len(), &raw)?;
        if planes.payload.len() < best.payload.len() {
            best = planes;
        }
    }
    Ok(best)
}

/// The transitions of an unpacked column, or what is wrong with it.
pub(super) fn edges(encoding: u8, count: u32, first_tick: u64, raw: &[u8]) -> Result<Vec<Edge>, String> {
    let count = plausible(count)?;
    let (levels, ticks) = match encoding >> 4 {
        WRITTEN_OUT => raw.split_at_checked(count.div_ceil(8)).ok_or("its levels are cut short")?,
        ALL_LOW..=ALTERNATING_FROM_HIGH => (&[][..], raw),
        other => return Err(format!("it has a pattern of levels {other} that this program does not know")),
    };
    let level = |index: usize| match encoding >> 4 {
        ALL_LOW => false,
        ALL_HIGH => true,
        ALTERNATING_FROM_LOW => index % 2 == 1,
        ALTERNATING_FROM_HIGH => index.is_multiple_of(2),
        _ => levels[index / 8] >> (index % 8) & 1 == 1,
    };
    let ticks = match encoding & 0x0F {
        PLANES => take_planes(count, first_tick, ticks)?,
        SECOND_DIFFERENCES => {
            let mut reader = Varints(ticks);
            let ticks = reader.second_differences(count, first_tick)?;
            reader.end()?;
            ticks
        }
        other => return Err(format!("it has a transform {other} that this program does not know")),
    };
    if ticks.iter().any(|&tick| tick >> 63 != 0) {
        return Err("it has a tick beyond the clock's range".to_owned());
    }
    Ok(ticks.into_iter().enumerate().map(|(index, tick)| Edge::new(tick, level(index))).collect())
}

/// Packs samples.
pub(super) fn pack_samples(samples: &[Sample]) -> std::io::Result<Packed> {
    let mut raw = Vec::with_capacity(samples.len() * 3);
    put_second_differences(samples.iter().map(|sample| sample.at), &mut raw);
    let mut before = 0;
    for sample in samples {
        put_varint(zig_zag(i64::from(sample.code) - before), &mut raw);
        before = i64::from(sample.code);
    }
    pack(SAMPLES_PLAIN, &raw, PACKING_LEVEL)
}

/// The samples of an unpacked column, or what is wrong with it.
pub(super) fn samples(encoding: u8, count: u32, first_tick: u64, raw: &[u8]) -> Result<Vec<Sample>, String> {
    if encoding != SAMPLES_PLAIN {
        return Err(format!("it has an encoding {encoding} that this program does not know"));
    }
    let count = plausible(count)?;
    let mut reader = Varints(raw);
    let ticks = reader.second_differences(count, first_tick)?;
    let mut before = 0_i64;
    let mut samples = Vec::with_capacity(count);
    for at in ticks {
        before = before.wrapping_add(un_zig_zag(reader.next()?));
        let code = i32::try_from(before).map_err(|_| "it has a code beyond 32 bits")?;
        samples.push(Sample { at, code });
    }
    reader.end()?;
    Ok(samples)
}

fn pack(encoding: u8, raw: &[u8], level: i32) -> std::io::Result<Packed> {
    Ok(Packed { encoding, raw_length: raw.len(), payload: zstd::bulk::compress(raw, level)? })
}

/// Packs every plane into a frame of its own: a plane of noise beside one with a pattern would spoil the code of both.
fn pack_planes(encoding: u8, levels_length: usize, raw: &[u8]) -> std::io::Result<Packed> {
    let (levels, planes) = raw.split_at(levels_length);
    let mut payload = zstd::bulk::compress(levels, PACKING_LEVEL)?;
    for plane in planes.chunks((planes.len() / 4).max(1)) {
        payload.extend(zstd::bulk::compress(plane, PACKING_LEVEL)?);
    }
    Ok(Packed { encoding, raw_length: raw.len(), payload })
}

fn plausible(count: u32) -> Result<usize, String> {
    match count as usize {
        count @ 1..=COLUMN_LENGTH => Ok(count),
        count => Err(format!("it claims {count} entries")),
    }
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

/// False where a difference does not fit, after a long pause.
fn put_planes(edges: &[Edge], into: &mut Vec<u8>) -> bool {
    let start = into.len();
    let count = edges.len().saturating_sub(1);
    into.resize(start + 4 * count, 0);
    for (index, pair) in edges.windows(2).enumerate() {
        let Ok(difference) = u32::try_from(zig_zag(pair[1].tick().wrapping_sub(pair[0].tick()) as i64)) else {
            return false;
        };
        for (plane, byte) in difference.to_le_bytes().into_iter().enumerate() {
            into[start + plane * count + index] = byte;
        }
    }
    true
}

fn take_planes(count: usize, first_tick: u64, raw: &[u8]) -> Result<Vec<u64>, String> {
    let differences = count - 1;
    if raw.len() != 4 * differences {
        return Err(format!("its planes hold {} bytes for {count} edges", raw.len()));
    }
    let mut tick = first_tick;
    let mut ticks = Vec::with_capacity(count);
    ticks.push(tick);
    for index in 0..differences {
        let difference = u32::from_le_bytes(std::array::from_fn(|plane| raw[plane * differences + index]));
        tick = tick.wrapping_add(un_zig_zag(u64::from(difference)) as u64);
        ticks.push(tick);
    }
    Ok(ticks)
}

fn put_second_differences(mut ticks: impl Iterator<Item = u64>, into: &mut Vec<u8>) {
    let Some(mut before) = ticks.next() else { return };
    let mut difference_before = 0_i64;
    for tick in ticks {
        let difference = tick.wrapping_sub(before) as i64;
        put_varint(zig_zag(difference.wrapping_sub(difference_before)), into);
        (before, difference_before) = (tick, difference);
    }
}

fn put_varint(mut value: u64, into: &mut Vec<u8>) {
    while value >= 0x80 {
        into.push(value as u8 | 0x80);
        value >>= 7;
    }
    into.push(value as u8);
}

const fn zig_zag(value: i64) -> u64 {
    (value << 1 ^ value >> 63) as u64
}

const fn un_zig_zag(value: u64) -> i64 {
    (value >> 1) as i64 ^ -((value & 1) as i64)
}

struct Varints<'a>(&'a [u8]);

impl Varints<'_> {
    fn next(&mut self) -> Result<u64, String> {
        let mut value = 0;
        for shift in (0..64).step_by(7) {
            let (&byte, rest) = self.0.split_first().ok_or("it is cut short")?;
            self.0 = rest;
            value |= u64::from(byte & 0x7F) << shift;
            if byte < 0x80 {
                return Ok(value);
            }
        }
        Err("it has a number without an end".to_owned())
    }

    fn second_differences(&mut self, count: usize, first_tick: u64) -> Result<Vec<u64>, String> {
        let mut tick = first_tick;
        let mut difference = 0_i64;
        let mut ticks = Vec::with_capacity(count);
        ticks.push(tick);
        for _ in 1..count {
            difference = difference.wrapping_add(un_zig_zag(self.next()?));
            tick = tick.wrapping_add(difference as u64);
            ticks.push(tick);
        }
        Ok(ticks)
    }

    fn end(&self) -> Result<(), String> {
        if self.0.is_empty() { Ok(()) } else { Err(format!("{} bytes too many", self.0.len())) }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn unpacked(packed: &Packed) -> Vec<u8> {
        zstd::bulk::decompress(&packed.payload, packed.raw_length).expect("own packing")
    }

    /// ZigZag table of the Protocol Buffers documentation, "Encoding", section "Signed Integers".
    #[test]
    fn zig_zag_is_the_usual_one() {
        for (signed, mapped) in
            [(0, 0), (-1, 1), (1, 2), (-2, 3), (0x7FFF_FFFF, 0xFFFF_FFFE), (-0x8000_0000, 0xFFFF_FFFF)]
        {
            assert_eq!(zig_zag(signed), mapped);
            assert_eq!(un_zig_zag(mapped), signed);
        }
        assert_eq!(un_zig_zag(zig_zag(i64::MIN)), i64::MIN);
    }

    /// 150 is 96 01: Protocol Buffers documentation, "Encoding", section "A Simple Message".
    #[test]
    fn varints_are_the_usual_ones() {
        let mut bytes = Vec::new();
        put_varint(150, &mut bytes);
        put_varint(u64::MAX, &mut bytes);
        assert_eq!(bytes[..2], [0x96, 0x01]);
        let mut reader = Varints(&bytes);
        assert_eq!((reader.next(), reader.next(), reader.end()), (Ok(150), Ok(u64::MAX), Ok(())));
        assert!(reader.next().is_err());
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
            let packed = pack_edges(&edges).expect("packs");
            let raw = unpacked(&packed);
            prop_assert_eq!(super::edges(packed.encoding, edges.len() as u32, edges[0].tick(), &raw), Ok(edges));
        }

        #[test]
        fn samples_come_back(readings in prop::collection::vec((0..1_u64 << 40, any::<i32>()), 1..300)) {
            let samples: Vec<Sample> = readings.iter().map(|&(at, code)| Sample { at, code }).collect();
            let packed = pack_samples(&samples).expect("packs");
            let raw = unpacked(&packed);
            prop_assert_eq!(super::samples(packed.encoding, samples.len() as u32, samples[0].at, &raw), Ok(samples));
        }

        #[test]
        fn rubbish_is_refused_and_never_panics(
            encoding: u8, count in 0..70_000_u32, first: u64, raw in prop::collection::vec(any::<u8>(), 0..300),
        ) {
            if let Ok(edges) = super::edges(encoding, count, first, &raw) {
                prop_assert_eq!(edges.len(), count as usize);
            }
            if let Ok(samples) = super::samples(SAMPLES_PLAIN, count, first, &raw) {
                prop_assert_eq!(samples.len(), count as usize);
            }
        }
    }
}
