//! A plain register of two bytes, the higher one first: thermometers and other chips that need no preparation.

use super::{Chip, Shared};
use embedded_hal::i2c::I2c;

pub struct Register<B> {
    bus: Shared<B>,
    device: u8,
    register: u8,
    shift: u8,
}

impl<B> Register<B> {
    pub fn new(bus: Shared<B>, device: u8, register: u8, shift: u8) -> Self {
        Self { bus, device, register, shift }
    }
}

impl<B: I2c> Chip for Register<B> {
    fn read(&mut self) -> Result<i32, String> {
        let mut bytes = [0; 2];
        self.bus
            .write_read(self.device, &[self.register], &mut bytes)
            .map_err(|error| format!("register 0x{:02x} of 0x{:02x}: {error:?}", self.register, self.device))?;
        Ok(code(bytes, self.shift))
    }
}

/// The signed code in a register, without the low bits that are no part of it.
fn code(register: [u8; 2], shift: u8) -> i32 {
    i32::from(i16::from_be_bytes(register)) >> shift.min(15)
}

#[cfg(test)]
mod tests {
    use super::super::{on_bus, traffic};
    use super::*;
    use crate::jig::SampleSource;
    use embedded_hal_mock::eh1::i2c::Transaction;

    /// Temperature codes of 12 bits, left-aligned, 0.0625 °C each: +25 °C is 1900h, −25 °C is E700h. Source: Texas
    /// Instruments, TMP102 data sheet (SBOS397), table "12-Bit Temperature Data Format" (190h and E70h).
    // Outside: TMP102 data sheet (SBOS397), 12-bit temperature format; how: from memory
    #[test]
    fn registers_hold_signed_codes() {
        let bus = traffic::bus(&[
            Transaction::write_read(0x48, vec![0x00], vec![0x19, 0x00]),
            Transaction::write_read(0x48, vec![0x00], vec![0xE7, 0x00]),
        ]);
        let source = SampleSource::Register { device: 0x48, register: 0, shift: 4 };
        let mut chip = on_bus(source, &bus).expect("on the bus").expect("needs no preparation");
        assert_eq!((chip.read(), chip.read()), (Ok(25 * 16), Ok(-25 * 16)));
        traffic::over(&bus);
        assert_eq!(code([0x16, 0x80], 0), 5760);
    }
}
