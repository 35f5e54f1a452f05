//! What a jig needs of a pin header: lines in and out, a bus, a one-wire bus. The Raspberry Pi's own stands in
//! `enabled.rs`; tests put a stand-in in its place, and everything above this trait cannot tell them apart.

use embedded_hal::i2c::I2c;
use std::path::Path;
use std::time::Duration;

/// A pin header. Pins are BCM numbers. Errors say what is wrong with the pin or the bus.
pub trait Header {
    /// Its I2C bus.
    type Bus: I2c + Send + 'static;
    /// The computer that it belongs to: "Raspberry Pi 4 B".
    fn describes(&self) -> String;
    /// Keeps other programs off the pins while what it returns lives. Asked for before any pin is taken.
    fn reserve(&mut self) -> Result<Box<dyn Send>, String>;
    /// Takes a pin as an output that begins at a level, and keeps its last level when it is let go.
    fn output(&mut self, pin: u8, high: bool) -> Result<Box<dyn Output>, String>;
    /// Takes a pin as an input whose edges are told, only the rising ones where `rising`, from any thread.
    fn input(&mut self, pin: u8, rising: bool, tell: Box<dyn FnMut(LineEdge) + Send>)
    -> Result<Box<dyn Input>, String>;
    /// Opens the I2C bus.
    fn bus(&mut self) -> Result<Self::Bus, String>;
    /// Where the kernel shows the devices of the one-wire bus.
    fn one_wire(&self) -> &Path;
}

/// An input; its edges are told while it lives.
pub trait Input {
    /// Its level now.
    fn is_high(&self) -> bool;
}

/// An output.
pub trait Output: Send {
    /// Sets its level.
    fn set(&mut self, high: bool);
}

/// An edge as the kernel stamped it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LineEdge {
    /// When, on the computer's monotonic clock.
    pub monotonic: Duration,
    /// The kernel's number of it; those of each line count from 1.
    pub number: u32,
    /// The level after it.
    pub high: bool,
}
