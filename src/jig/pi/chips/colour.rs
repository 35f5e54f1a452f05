//! Light and colour sensor TCS34725: clear, red, green and blue, 16 bits each.
//!
//! It integrates for 48 ms (20 cycles of 2.4 ms) without being asked, so that it gives 20 values a second, and averages over
//! the refresh of a light bar.

use super::{Chip, Shared};
use crate::jig::ColourReading;
use embedded_hal::i2c::I2c;
use std::fmt::Debug;
use tcs3472::{RgbCGain, Tcs3472};

/// Cycles of 2.4 ms over which it integrates.
const CYCLES: u16 = 20;
/// What the two variants of the chip say of themselves: TCS34725 and TCS34727.
const IDENTITIES: [u8; 2] = [0x44, 0x4D];

pub struct Colour<B> {
    chip: Tcs3472<Shared<B>>,
    reads: ColourReading,
}

impl<B: I2c> Colour<B> {
    pub fn prepared(bus: Shared<B>, reads: ColourReading) -> Result<Self, String> {
        let mut chip = Tcs3472::new(bus);
        let found = chip.read_device_id().map_err(silent)?;
        if !IDENTITIES.contains(&found) {
            return Err(format!("what answers at 0x29 is no TCS34725: it says that it is 0x{found:02x}, not 0x44"));
        }
        chip.set_integration_cycles(CYCLES).map_err(silent)?;
        chip.set_rgbc_gain(RgbCGain::_4x).map_err(silent)?;
        chip.enable().map_err(silent)?;
        chip.enable_rgbc().map_err(silent)?;
        Ok(Self { chip, reads })
    }
}

impl<B: I2c> Chip for Colour<B> {
    fn read(&mut self) -> Result<i32, String> {
        let code = match self.reads {
            ColourReading::Clear => self.chip.read_clear_channel(),
            ColourReading::Red => self.chip.read_red_channel(),
            ColourReading::Green => self.chip.read_green_channel(),
            ColourReading::Blue => self.chip.read_blue_channel(),
        };
        code.map(i32::from).map_err(silent)
    }
}

fn silent(error: impl Debug) -> String {
    format!("the TCS34725 does not answer: {error:?}")
}

#[cfg(test)]
mod tests {
    use super::super::{on_bus, traffic};
    use super::*;
    use crate::jig::SampleSource;
    use embedded_hal_mock::eh1::i2c::Transaction;

    /// Commands have bit 7 set, and bit 5 to go on from register to register; identity 44h in register 12h; integration of
    /// 256 − ATIME cycles of 2.4 ms; four channels from 14h on, lower byte first. Source: ams, TCS3472 data sheet (TAOS135),
    /// "Register Description".
    // Outside: TCS3472 data sheet (TAOS135), register description; how: from memory
    #[test]
    fn the_data_sheet_s_registers() {
        let bus = traffic::bus(&[
            Transaction::write_read(0x29, vec![0x92], vec![0x44]),
            Transaction::write(0x29, vec![0x81, 0xEC]),
            Transaction::write(0x29, vec![0x8F, 0x01]),
            Transaction::write(0x29, vec![0x80, 0x01]),
            Transaction::write(0x29, vec![0x80, 0x03]),
            Transaction::write_read(0x29, vec![0xB6], vec![0x34, 0x12]),
        ]);
        let source = SampleSource::Colour { reads: ColourReading::Red };
        let mut chip = on_bus(source, &bus).expect("on the bus").expect("it answers");
        assert_eq!(chip.read(), Ok(0x1234));
        traffic::over(&bus);
    }

    #[test]
    fn another_chip_at_its_address_is_told() {
        let bus = traffic::bus(&[Transaction::write_read(0x29, vec![0x92], vec![0x10])]);
        let told = on_bus(SampleSource::Colour { reads: ColourReading::Clear }, &bus).expect("on the bus").err();
        let expected = "what answers at 0x29 is no TCS34725: it says that it is 0x10, not 0x44";
        assert_eq!(told.as_deref(), Some(expected));
        traffic::over(&bus);
    }
}
