//! Converter ADS1115: four inputs, 16 bits over ±4.096 V, 125 µV a code (Texas Instruments, SBAS444).
//!
//! One conversion is asked for and waited for at a time, 1.2 ms at 860 a second, because its four inputs share one converter.

use super::{Chip, Shared};
use ads1x1x::channel::{SingleA0, SingleA1, SingleA2, SingleA3};
use ads1x1x::ic::{Ads1115, Resolution16Bit};
use ads1x1x::mode::OneShot;
use ads1x1x::{Ads1x1x, DataRate16Bit, FullScaleRange, TargetAddr};
use embedded_hal::i2c::I2c;
use std::fmt::Debug;

/// How often a conversion is asked after; each asking takes a transfer, and a conversion is over after a few.
const ASKED_AT_MOST: usize = 200;

pub struct Converter<B> {
    chip: Ads1x1x<Shared<B>, Ads1115, Resolution16Bit, OneShot>,
    device: u8,
    input: u8,
}

impl<B: I2c> Converter<B> {
    pub fn prepared(bus: Shared<B>, device: u8, input: u8) -> Result<Self, String> {
        let address = match device {
            0x48 => TargetAddr::Gnd,
            0x49 => TargetAddr::Vdd,
            0x4A => TargetAddr::Sda,
            0x4B => TargetAddr::Scl,
            _ => return Err(format!("an ADS1115 cannot have the address 0x{device:02x}; it has 0x48 to 0x4b")),
        };
        let mut chip = Ads1x1x::new_ads1115(bus, address);
        chip.set_full_scale_range(FullScaleRange::Within4_096V).map_err(|error| silent(device, error))?;
        chip.set_data_rate(DataRate16Bit::Sps860).map_err(|error| silent(device, error))?;
        Ok(Self { chip, device, input })
    }
}

impl<B: I2c> Chip for Converter<B> {
    fn read(&mut self) -> Result<i32, String> {
        for _ in 0..ASKED_AT_MOST {
            let code = match self.input {
                0 => self.chip.read(SingleA0),
                1 => self.chip.read(SingleA1),
                2 => self.chip.read(SingleA2),
                _ => self.chip.read(SingleA3),
            };
            match code {
                Ok(code) => return Ok(code.into()),
                Err(nb::Error::WouldBlock) => {}
                Err(nb::Error::Other(error)) => return Err(silent(self.device, error)),
            }
        }
        Err(format!("the ADS1115 at 0x{:02x} does not end its conversion", self.device))
    }
}

fn silent(device: u8, error: impl Debug) -> String {
    format!("the ADS1115 at 0x{device:02x} does not answer: {error:?}")
}

#[cfg(test)]
mod tests {
    use super::super::{on_bus, traffic};
    use crate::jig::SampleSource;
    use embedded_hal_mock::eh1::i2c::Transaction;

    /// Settings, register 1: OS (begin, or at rest) · input 4 to 7 against ground · range 001 (±4.096 V) · single conversion · rate
    /// 111 (860 a second) · comparator off; 125 µV a code, so that 2 V read as 3E80h, and the lowest code is 8000h. Source:
    /// Texas Instruments, ADS1115 data sheet (SBAS444), "Config Register" and "Data Format".
    // Outside: ADS1115 data sheet (SBAS444), config register and data format; how: from memory
    #[test]
    fn the_data_sheet_s_settings_and_codes() {
        let asked = |bits: u16| Transaction::write_read(0x48, vec![1], bits.to_be_bytes().to_vec());
        let set = |bits: u16| Transaction::write(0x48, [vec![1], bits.to_be_bytes().to_vec()].concat());
        let converted = |code: u16| Transaction::write_read(0x48, vec![0], code.to_be_bytes().to_vec());
        let bus = traffic::bus(&[
            set(0x8383),
            set(0x83E3),
            asked(0x83E3),
            set(0xE3E3),
            asked(0x63E3),
            asked(0xE3E3),
            converted(0x3E80),
            asked(0xE3E3),
            set(0xE3E3),
            asked(0xE3E3),
            converted(0x8000),
        ]);
        let source = SampleSource::Converter { device: 0x48, input: 2 };
        let mut chip = on_bus(source, &bus).expect("on the bus").expect("it answers");
        assert_eq!(chip.read().map(|code| f64::from(code) * 125e-6), Ok(2.0));
        assert_eq!(chip.read(), Ok(-32_768));
        traffic::over(&bus);
    }

    #[test]
    fn an_impossible_address_and_a_dead_converter_are_told() {
        let bus = traffic::bus(&[]);
        let told = on_bus(SampleSource::Converter { device: 0x40, input: 0 }, &bus).expect("on the bus").err();
        assert_eq!(told.as_deref(), Some("an ADS1115 cannot have the address 0x40; it has 0x48 to 0x4b"));
        traffic::over(&bus);
        let busy = Transaction::write_read(0x48, vec![1], vec![0x03, 0xE3]);
        let mut expected =
            vec![Transaction::write(0x48, vec![1, 0x83, 0x83]), Transaction::write(0x48, vec![1, 0x83, 0xE3])];
        expected.extend(vec![busy; super::ASKED_AT_MOST]);
        let bus = traffic::bus(&expected);
        let mut chip =
            on_bus(SampleSource::Converter { device: 0x48, input: 0 }, &bus).expect("on the bus").expect("set");
        assert_eq!(chip.read(), Err("the ADS1115 at 0x48 does not end its conversion".to_owned()));
        traffic::over(&bus);
    }
}
