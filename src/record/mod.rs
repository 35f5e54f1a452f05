//! The record of a run: its stored form, and how it gets onto disk whole or not at all.
//!
//! Reports are made from the stored form alone, so that every sheet can be made again years later.

mod clock;
pub mod dispatch;
pub mod events;
pub mod export;
pub mod history;
pub mod index;
pub mod lines;
pub mod recall;
mod recorder;
pub mod seal;
pub mod stored;
pub mod verify;
mod writer;

pub use index::{Index, IndexError};
pub use recorder::{Header, hdr_text, measured, record, to_json};
pub use seal::digest;
pub use stored::Record;
pub use writer::{Kept, RunFolder, WriteError, check_run_id, check_serial, leftovers, predecessors};
