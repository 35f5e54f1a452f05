//! What computer and capture board say to each other. The whole of it is in `fixtures/jigs/capture-board-protocol.md`.

use super::frame::Frame;
use crate::capture::{EdgeChannel, OutputChannel, SampleChannel};

/// The version of the protocol that is spoken here.
pub const VERSION: u8 = 1;

/// A message to the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ToBoard {
    /// Stop, be safe, say who you are.
    Hello,
    /// Stream from now on.
    Start,
    /// Switch an output.
    Drive { request: u8, output: OutputChannel, on: bool },
    /// I am here.
    Heartbeat { number: u16 },
    /// Send what you have stamped so far, then answer.
    Settle { request: u8 },
    /// Put every output into its safe state.
    Safe { request: u8 },
}

impl ToBoard {
    /// The message as a frame with this sequence number.
    pub fn frame(self, sequence: u16) -> Frame {
        let (kind, payload) = match self {
            Self::Hello => (0x01, vec![VERSION]),
            Self::Start => (0x02, Vec::new()),
            Self::Drive { request, output, on } => (0x03, vec![request, output.index() as u8, u8::from(on)]),
            Self::Heartbeat { number } => (0x04, number.to_le_bytes().to_vec()),
            Self::Settle { request } => (0x05, vec![request]),
            Self::Safe { request } => (0x06, vec![request]),
        };
        Frame { kind, sequence, payload }
    }
}

/// What a board is and has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BoardFacts {
    /// The version of the protocol that it speaks.
    pub version: u8,
    /// Whether the world behind it is simulated.
    pub simulated: bool,
    /// Ticks of its clock in a second, nominally.
    pub ticks_per_second: u32,
    /// How many of its seconds pass in one of the computer's, in thousandths.
    pub scale_thousandths: u32,
    edges: u16,
    outputs: u16,
    samples: u32,
    /// Its kind and firmware, in words.
    pub text: String,
}

impl BoardFacts {
    /// Whether it stamps this channel.
    pub fn has_edges(&self, channel: EdgeChannel) -> bool {
        self.edges >> (channel as u8) & 1 == 1
    }

    /// Whether it samples this channel.
    pub fn has_samples(&self, channel: SampleChannel) -> bool {
        self.samples >> channel.index() & 1 == 1
    }

    /// Whether it switches this output.
    pub fn has_output(&self, output: OutputChannel) -> bool {
        self.outputs >> output.index() & 1 == 1
    }
}

/// A message from the board, without the streams' contents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FromBoard<'a> {
    /// Who it is.
    Identity(BoardFacts),
    /// It streams from this tick on; the levels of its inputs at that moment.
    Started { tick: u32, levels: u16 },
    /// Edges, counted from this tick.
    Edges { tick: u32, records: &'a [u8] },
    /// Edges of the controls' contacts, counted from this tick.
    ControlEdges { tick: u32, records: &'a [u8] },
    /// Samples, counted from this tick.
    Samples { tick: u32, records: &'a [u8] },
    /// An output was switched, by itself where `request` is 0.
    Switched { request: u8, output: OutputChannel, on: bool, tick: u32 },
    /// The answer to a heartbeat.
    Beat { number: u16, tick: u32, missing: u16 },
    /// Everything up to this tick has been sent.
    Settled { request: u8, tick: u32 },
    /// So many edges and samples found no room.
    Overrun { tick: u32, lost: u16 },
    /// It will not.
    Refused { request: u8, reason: u8 },
}

impl<'a> FromBoard<'a> {
    /// The message in a frame, or what is wrong with it.
    pub fn read(frame: &'a Frame) -> Result<Self, String> {
        let short = || format!("a frame of type {:02X} with {} bytes of payload", frame.kind, frame.payload.len());
        let mut fields = Fields(&frame.payload);
        let message = match frame.kind {
            0x81 => fields.identity().map(Self::Identity),
            0x82 => fields.started(),
            0x83 => fields.u32().map(|tick| Self::Edges { tick, records: fields.rest() }),
            0x84 => fields.u32().map(|tick| Self::Samples { tick, records: fields.rest() }),
            0x85 => fields.switched()?,
            0x86 => fields.beat(),
            0x87 => fields.u8().zip(fields.u32()).map(|(request, tick)| Self::Settled { request, tick }),
            0x88 => fields.u32().zip(fields.u16()).map(|(tick, lost)| Self::Overrun { tick, lost }),
            0x89 => fields.u8().zip(fields.u8()).map(|(request, reason)| Self::Refused { request, reason }),
            0x8A => fields.u32().map(|tick| Self::ControlEdges { tick, records: fields.rest() }),
            unknown => return Err(format!("a frame of unknown type {unknown:02X}")),
        };
        message.filter(|_| fields.0.is_empty()).ok_or_else(short)
    }
}

/// The edges of a record: ticks since the one before, channel, level. `first` is the number of the record's channel 0.
pub fn edge_records(
    records: &[u8],
    first: EdgeChannel,
) -> impl Iterator<Item = Result<(u64, EdgeChannel, bool), String>> {
    let mut fields = Fields(records);
    std::iter::from_fn(move || {
        if fields.0.is_empty() {
            return None;
        }
        let Some(record) = fields.varint() else {
            fields.0 = &[];
            return Some(Err("an edge that is cut short".to_owned()));
        };
        let number = first as usize + (record >> 1 & 7) as usize;
        let channel = EdgeChannel::ALL.get(number).ok_or_else(|| format!("an edge of channel {number}"));
        Some(channel.map(|channel| (record >> 4, *channel, record & 1 == 1)))
    })
}

/// The samples of a record: ticks since the one before, channel, code.
pub fn sample_records(records: &[u8]) -> impl Iterator<Item = Result<(u64, SampleChannel, i32), String>> {
    let mut fields = Fields(records);
    std::iter::from_fn(move || {
        if fields.0.is_empty() {
            return None;
        }
        let sample = fields.sample();
        if sample.is_none() {
            fields.0 = &[];
        }
        Some(sample.ok_or_else(|| "a sample that is cut short, or of a channel that does not exist".to_owned()))
    })
}

/// Takes a payload apart from the front.
struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*first)
    }

    fn u8(&mut self) -> Option<u8> {
        self.array().map(|[byte]| byte)
    }

    fn u16(&mut self) -> Option<u16> {
        self.array().map(u16::from_le_bytes)
    }

    fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    fn rest(&mut self) -> &'a [u8] {
        std::mem::take(&mut self.0)
    }

    fn varint(&mut self) -> Option<u64> {
        let mut value = 0;
        for shift in (0..42).step_by(7) {
            let byte = self.u8()?;
            value |= u64::from(byte & 0x7F) << shift;
            if byte < 0x80 {
                return Some(value);
            }
        }
        None
    }

    fn sample(&mut self) -> Option<(u64, SampleChannel, i32)> {
        let record = self.varint()?;
        let code = self.varint()?;
        let code = (code >> 1) as i64 ^ -((code & 1) as i64);
        Some((record >> 5, SampleChannel::at((record & 31) as usize)?, i32::try_from(code).ok()?))
    }

    fn identity(&mut self) -> Option<BoardFacts> {
        let (version, flags) = (self.u8()?, self.u8()?);
        Some(BoardFacts {
            version,
            simulated: flags & 1 == 1,
            ticks_per_second: self.u32()?,
            scale_thousandths: self.u32()?,
            // The controls came later than the first eight channels and have their bits in the flags.
            edges: u16::from(self.u8()?) | u16::from(flags >> 4) << 8,
            outputs: self.u16()?,
            samples: self.u32()?,
            text: String::from_utf8_lossy(self.rest()).into_owned(),
        })
    }

    /// A board without controls leaves their byte of levels out.
    fn started(&mut self) -> Option<FromBoard<'static>> {
        let (tick, levels) = (self.u32()?, self.u8()?);
        let controls = self.u8().unwrap_or(0);
        Some(FromBoard::Started { tick, levels: u16::from_le_bytes([levels, controls]) })
    }

    fn switched(&mut self) -> Result<Option<FromBoard<'static>>, String> {
        let Some([request, output, on]) = self.array() else { return Ok(None) };
        let output = OutputChannel::at(output.into()).ok_or_else(|| format!("an output with number {output}"))?;
        Ok(self.u32().map(|tick| FromBoard::Switched { request, output, on: on != 0, tick }))
    }

    fn beat(&mut self) -> Option<FromBoard<'static>> {
        Some(FromBoard::Beat { number: self.u16()?, tick: self.u32()?, missing: self.u16()? })
    }
}
