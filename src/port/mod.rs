//! Bytes in and out. Deliberately absent: what the bytes mean.

mod memory;
mod pty;
mod serial;
mod usb;

pub use memory::{MemoryPort, memory_pair};
pub use pty::Pty;
pub use serial::{Flow, Parity, SerialPort, SerialSettings};

use crate::clock::HostTime;

/// A two-way byte stream to a unit or a capture board.
pub trait Port {
    /// Sends all of `bytes` before `deadline`.
    fn send(&mut self, bytes: &[u8], deadline: HostTime) -> Result<(), PortError>;
    /// Appends what has arrived to `into`. Returns as soon as there is at least one byte, with 0 at `deadline`.
    fn receive(&mut self, into: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError>;
    /// What to call it in a message: `/dev/ttyUSB0`.
    fn name(&self) -> &str;
}

/// Why a port gave nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PortError {
    /// The other side is gone.
    #[error("{port}: unplugged; check the cable and the board's supply, then run again")]
    Unplugged { port: String },
    /// It could not be opened.
    #[error("{port}: cannot be opened: {why}")]
    NotOpened { port: String, why: String },
    /// The other side does not take bytes.
    #[error("{port}: nobody took {unsent} bytes in time; is the right device connected, and awake?")]
    Stalled { port: String, unsent: usize },
    /// Anything else that the operating system said.
    #[error("{port}: {why}")]
    Broken { port: String, why: String },
}
