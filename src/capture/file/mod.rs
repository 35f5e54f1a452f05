//! The capture file of a run: all of its evidence, in the order in which it came, small and hard to lose.
//!
//! All numbers are little-endian. The file is a head, then blocks, of which the last one says that the file is whole.
//!
//! ```text
//! head, 24 bytes     signature F5 'R' 'P' 'C' 0D 0A 1A 0A · version u16 · zero u16 · ticks per second u64 · CRC-32
//! block, 36 bytes    sync F5 'b' 'l' 'k' · kind u8 · channel u8 · encoding u8 · zero u8 · stretch u32 · count u32
//!                    · first tick u64 · length before zstd u32 · length of payload u32 · CRC-32 of all that and the payload
//! payload            one or more zstd frames (RFC 8878), one behind the other; the `zstd` tool opens them too.
//!                    Only edges by transform 3 stand as they are
//! ```
//!
//! | kind | channel | payload, once unpacked |
//! | --- | --- | --- |
//! | 1 edges | number of the edge channel | a column of up to 65,536 transitions |
//! | 2 samples | number of the sample channel | a column of up to 65,536 samples |
//! | 3 journal | 0 | text: outputs, transcript, losses and marks; closes a stretch |
//! | 4 end | 0 | nothing; `stretch` is the number of stretches in the file |
//!
//! A *stretch* is a run of evidence whose blocks carry the same number, counted from 0. It ends with a round of a check
//! or with the check, or when a column is full; its columns come first and its journal last. Inside a stretch each column
//! is in order of arrival. The journal says how they interleave: it has one JSON value a line, and a mark's line tells how
//! many entries of each column arrived since the mark before it. So a mark costs a line of text, never a block, and the
//! reader hands out the same evidence between the same marks as the writer was given. The journal's last line has the
//! totals of the columns, so that a column that is missing is noticed. Columns are numbered 0 to 11 for edges, from 16 on for samples.
//!
//! Transitions: `encoding` is `pattern << 4 | transform`. Patterns of levels: 0 all low, 1 all high, 2 alternating from
//! low, 3 alternating from high, 4 written out ahead of the ticks, one bit each, least significant first. Transforms of
//! ticks: 1, the zig-zag differences as 32-bit numbers in four planes of bytes, lowest bytes first (read, and written no
//! more); 2, the zig-zag differences of differences as varints (a clock that repeats itself); 3, all ticks as distances
//! from curves (a clock with jitter), as `curve.rs` says. 1 and 2 leave the first tick out, which the header has.
//! Samples (`encoding` 1): differences of differences of the ticks as zig-zag varints, then differences of the codes
//! likewise. A varint has 7 bits a byte, lowest first, the high bit set on all bytes but the last. Zig-zag maps
//! 0, -1, 1, -2 … to 0, 1, 2, 3 …
//!
//! A damaged block is skipped and listed as a loss; reading goes on at the next sync whose check sum holds. What goes back
//! in time within its column is left out and listed. A file that ends early gives all that it holds, and a loss. Every
//! header says what its block is, where it begins in time and how long it is, so that a reader may go from one to the
//! next without unpacking any. No tick, of an entry or of a line, is beyond 2^56 - 1.
//!
//! Version 2 brought transform 3, version 3 the mark that a round of a check is over; the older ones are the same without.

mod block;
mod columns;
mod curve;
mod journal;
mod reader;
mod replay;
mod varint;
mod window;
mod writer;

pub use reader::{CaptureReader, Summary, read};
pub use writer::CaptureWriter;

/// Version of the format that is written. Readers refuse newer ones.
pub const VERSION: u16 = 3;
/// The first bytes of the file: a high bit, line ends and an end-of-text, which careless transfers damage visibly.
const SIGNATURE: [u8; 8] = *b"\xF5RPC\r\n\x1A\n";
/// Bytes of the head.
const HEAD_LENGTH: usize = 24;
/// The most entries of a column.
const COLUMN_LENGTH: usize = 65_536;

/// Why a file gives no evidence at all.
#[derive(Debug, thiserror::Error)]
pub enum CaptureError {
    /// It could not be read.
    #[error("the capture cannot be read: {0}")]
    Unreadable(#[from] std::io::Error),
    /// It is something else.
    #[error("this is no capture file of railproof: it does not begin with its signature; name a `.capture` file")]
    Foreign,
    /// Its head is damaged.
    #[error("the head of this capture file is damaged; take a copy that is whole")]
    DamagedHead,
    /// It is newer than this program.
    #[error("this capture file has format version {found}, this program reads up to {VERSION}; use a newer railproof")]
    Newer { found: u16 },
}

#[cfg(test)]
mod tests;
