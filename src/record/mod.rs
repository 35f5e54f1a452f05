//! The record of a run: its stored form, and how it gets onto disk whole or not at all.
//!
//! Reports are made from the stored form alone, so that every sheet can be made again years later.

mod answers;
mod clock;
pub mod dispatch;
pub mod events;
pub mod export;
mod fetched;
pub mod history;
pub mod index;
pub mod lines;
pub mod recall;
mod recorder;
pub mod seal;
pub mod source;
pub mod store;
pub mod stored;
pub mod verify;
mod writer;

pub use answers::{Answers, Unanswered};
pub use index::{Index, IndexError};
pub use recorder::{Header, hdr_text, measured, record, to_json};
pub use seal::digest;
pub use source::Source;
pub use stored::Record;
pub use writer::{Kept, RunFolder, WriteError, check_run_id, check_serial, leftovers, predecessors};
