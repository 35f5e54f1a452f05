//! The pin header of a real Raspberry Pi, through rppal.

use super::header::{Header, Input, LineEdge, Output};
use super::reserved::Reserved;
use super::{PiWiring, bench::PiJig};
use crate::clock::ComputerClock;
use crate::jig::{Jig, JigError};
use embedded_hal::i2c::{self, ErrorKind, ErrorType, Operation};
use rppal::gpio::{Gpio, InputPin, Level, OutputPin, Trigger};
use rppal::i2c::I2c;
use rppal::system::DeviceInfo;
use std::fmt;
use std::path::Path;

/// What every program that drives the pins has in common.
const PINS: &str = "/dev/gpiochip0";
/// The I2C bus on the pin header.
const BUS: u8 = 1;
/// How long a transfer on the bus may take, in the kernel's units.
const BUS_TIMEOUT_MS: u32 = 50;

/// Opens the pins and the bus; all outputs are safe.
///
/// # Errors
/// This computer is no Raspberry Pi, or a pin, the bus or a chip on it cannot be used.
pub fn open(wiring: &PiWiring, clock: &ComputerClock) -> Result<Box<dyn Jig>, JigError> {
    let device = DeviceInfo::new().map_err(|error| JigError::Absent {
        what: format!("this computer is no Raspberry Pi ({error}), and the jig file asks for its pins"),
        remedy: "run on the bench's Raspberry Pi, or choose another jig file".to_owned(),
    })?;
    let gpio = Gpio::new().map_err(|error| JigError::Absent {
        what: format!("the pins cannot be used: {error}"),
        remedy: "give this user the rights of the group `gpio`".to_owned(),
    })?;
    let mut header = Pins { model: device.model().to_string(), gpio };
    Ok(Box::new(PiJig::open(wiring, clock, &mut header)?))
}

struct Pins {
    model: String,
    gpio: Gpio,
}

impl Header for Pins {
    type Bus = Bus;

    fn describes(&self) -> String {
        self.model.clone()
    }

    fn reserve(&mut self) -> Result<Box<dyn Send>, String> {
        Ok(Box::new(Reserved::behind(Path::new(PINS))?))
    }

    fn output(&mut self, pin: u8, high: bool) -> Result<Box<dyn Output>, String> {
        let pin = self.gpio.get(pin).map_err(|error| error.to_string())?;
        let mut pin = if high { pin.into_output_high() } else { pin.into_output_low() };
        // The safe level stays when the pin is let go.
        pin.set_reset_on_drop(false);
        Ok(Box::new(pin))
    }

    fn input(
        &mut self,
        pin: u8,
        rising: bool,
        mut tell: Box<dyn FnMut(LineEdge) + Send>,
    ) -> Result<Box<dyn Input>, String> {
        let mut pin = self.gpio.get(pin).map_err(|error| error.to_string())?.into_input();
        let trigger = if rising { Trigger::RisingEdge } else { Trigger::Both };
        pin.set_async_interrupt(trigger, None, move |event| {
            let high = event.trigger == Trigger::RisingEdge;
            tell(LineEdge { monotonic: event.timestamp, number: event.seqno, high });
        })
        .map_err(|error| format!("it gives no interrupts: {error}"))?;
        Ok(Box::new(pin))
    }

    fn bus(&mut self) -> Result<Bus, String> {
        let bus = I2c::with_bus(BUS).map_err(|error| format!("I2C bus {BUS} cannot be used: {error}"))?;
        bus.set_timeout(BUS_TIMEOUT_MS).map_err(|error| format!("I2C bus {BUS} takes no timeout: {error}"))?;
        Ok(Bus(bus))
    }

    fn one_wire(&self) -> &Path {
        Path::new("/sys/bus/w1/devices")
    }
}

/// The I2C bus, whose errors read as words: the chips' drivers hand them on in their debugging form alone.
struct Bus(I2c);

struct BusError(rppal::i2c::Error);

impl fmt::Debug for BusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        self.0.kind()
    }
}

impl ErrorType for Bus {
    type Error = BusError;
}

impl i2c::I2c for Bus {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        self.0.transaction(address, operations).map_err(BusError)
    }
}

impl Input for InputPin {
    fn is_high(&self) -> bool {
        Self::is_high(self)
    }
}

impl Output for OutputPin {
    fn set(&mut self, high: bool) {
        self.write(if high { Level::High } else { Level::Low });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_computer_without_pins_says_so() {
        let wiring = PiWiring { edges: Vec::new(), outputs: Vec::new(), samples: Vec::new(), keep_alive: 26 };
        let opened = open(&wiring, &ComputerClock::new());
        match DeviceInfo::new() {
            Ok(_) => assert!(opened.is_ok_and(|jig| !jig.identity().simulated)),
            Err(_) => {
                let told = opened.err().expect("no pins").to_string();
                assert!(told.starts_with("this computer is no Raspberry Pi"), "{told}");
                assert!(told.ends_with("run on the bench's Raspberry Pi, or choose another jig file"), "{told}");
            }
        }
    }
}
