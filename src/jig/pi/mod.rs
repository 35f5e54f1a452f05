//! A jig on the pins and the I2C bus of a Raspberry Pi.
//!
//! The kernel stamps edges at the interrupt, on the clock that the computer's own time comes from, and numbers them, so
//! that a lost one shows. The stamps are good to some microseconds: the finest step jitter wants a capture board.
//!
//! Pins keep their level when a process is killed. So the unit's supply must hang on the `keep alive` pin as well: it
//! toggles while this program lives, and a retriggerable timer or a charge pump between it and the supply relay opens the
//! relay when the toggling stops. That spares the unit; it is no safety function. The emergency stop cuts the supply
//! by its own contacts.

#[cfg(target_os = "linux")]
pub mod bench;
#[cfg(target_os = "linux")]
mod chips;
#[cfg(not(target_os = "linux"))]
mod disabled;
#[cfg(target_os = "linux")]
mod enabled;
#[cfg(target_os = "linux")]
pub mod header;
#[cfg(target_os = "linux")]
mod intake;
#[cfg(target_os = "linux")]
mod keeper;
#[cfg(target_os = "linux")]
mod reserved;

#[cfg(not(target_os = "linux"))]
pub use disabled::open;
#[cfg(target_os = "linux")]
pub use enabled::open;

use super::{JigError, JigFile, SampleWire};
use crate::capture::{EdgeChannel, OutputChannel, SampleChannel};

/// What hangs where. Pins are BCM numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct PiWiring {
    /// Digital inputs.
    pub edges: Vec<(EdgeChannel, u8)>,
    /// Outputs.
    pub outputs: Vec<PiOutput>,
    /// Sampled channels.
    pub samples: Vec<(SampleChannel, SampleWire)>,
    /// The pin that toggles while the program lives.
    pub keep_alive: u8,
}

/// An output on a pin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PiOutput {
    /// What it switches.
    pub channel: OutputChannel,
    /// Its pin.
    pub pin: u8,
    /// Whether a high level switches it on.
    pub active_high: bool,
}

impl PiWiring {
    /// The wiring of a jig file, or the channel that has none.
    pub fn of(jig: &JigFile) -> Result<Self, JigError> {
        let unwired = |channel: String| JigError::NoChannel { channel };
        let edges = jig.edges.iter().map(|input| {
            input.pin.map(|pin| (input.channel, pin)).ok_or_else(|| unwired(input.channel.name().to_owned()))
        });
        let outputs = jig.outputs.iter().map(|output| {
            let wired = |pin| PiOutput { channel: output.channel, pin, active_high: output.active_high };
            output.pin.map(wired).ok_or_else(|| unwired(output.channel.name()))
        });
        let samples = jig
            .samples
            .iter()
            .map(|input| input.wire.map(|wire| (input.channel, wire)).ok_or_else(|| unwired(input.channel.name())));
        Ok(Self {
            edges: edges.collect::<Result<_, _>>()?,
            outputs: outputs.collect::<Result<_, _>>()?,
            samples: samples.collect::<Result<_, _>>()?,
            keep_alive: jig.keep_alive.ok_or_else(|| unwired("keep alive".to_owned()))?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::written::Source;

    fn wiring(name: &str, text: &str) -> Result<PiWiring, JigError> {
        PiWiring::of(&JigFile::read(&Source::new(name, text)).expect("a shipped file"))
    }

    #[test]
    fn a_jig_file_becomes_a_wiring() {
        let pi = include_str!("../../../fixtures/jigs/raspberry-pi.yaml");
        let wiring = wiring("raspberry-pi.yaml", pi).expect("all channels are wired");
        assert_eq!((wiring.edges.len(), wiring.outputs.len(), wiring.samples.len()), (12, 9, 14));
        assert_eq!((wiring.edges[0], wiring.keep_alive), ((EdgeChannel::Step, 17), 26));
    }

    #[test]
    fn a_channel_without_a_wire_is_named() {
        let board = include_str!("../../../fixtures/jigs/usb-board.yaml");
        let refused = wiring("usb-board.yaml", board);
        assert_eq!(refused, Err(JigError::NoChannel { channel: "step".to_owned() }));
    }
}
