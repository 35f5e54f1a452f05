//! Power monitor INA226: 1.25 mV a code at its bus pin, 2.5 µV a code across its shunt (Texas Instruments, SBOS547).
//!
//! It converts both in turn without being asked, 1.1 ms each, and averages four: a new value every 8.8 ms.

use super::{Chip, Shared};
use crate::jig::PowerReading;
use embedded_hal::i2c::I2c;
use ina226::{AVG, Config, INA226, MODE, VBUSCT, VSHCT};
use std::fmt::Debug;

/// What register FEh holds in every chip of this kind.
const MANUFACTURER: u16 = 0x5449;

pub struct PowerMonitor<B> {
    chip: INA226<Shared<B>>,
    device: u8,
    reads: PowerReading,
}

impl<B: I2c> PowerMonitor<B> {
    pub fn prepared(bus: Shared<B>, device: u8, reads: PowerReading) -> Result<Self, String> {
        let mut chip = INA226::new(bus, device);
        let found = chip.manufacturer_id().map_err(|error| silent(device, error))?;
        if found != MANUFACTURER {
            return Err(format!(
                "what answers at 0x{device:02x} is no INA226: register FEh holds {found:04X}h, not 5449h"
            ));
        }
        let config = Config {
            avg: AVG::_4,
            vbusct: VBUSCT::_1100us,
            vshct: VSHCT::_1100us,
            mode: MODE::ShuntBusVoltageContinuous,
        };
        chip.set_configuration(&config).map_err(|error| silent(device, error))?;
        Ok(Self { chip, device, reads })
    }
}

impl<B: I2c> Chip for PowerMonitor<B> {
    fn read(&mut self) -> Result<i32, String> {
        let code = match self.reads {
            PowerReading::BusVoltage => self.chip.bus_voltage_raw().map(i32::from),
            PowerReading::ShuntVoltage => self.chip.shunt_voltage_raw().map(i32::from),
        };
        code.map_err(|error| silent(self.device, error))
    }
}

fn silent(device: u8, error: impl Debug) -> String {
    format!("the INA226 at 0x{device:02x} does not answer: {error:?}")
}

#[cfg(test)]
mod tests {
    use super::super::{on_bus, traffic};
    use super::*;
    use crate::jig::SampleSource;
    use embedded_hal_mock::eh1::i2c::Transaction;

    /// The chip is pointed at a register, which is then read.
    fn reading(register: u8, word: [u8; 2]) -> [Transaction; 2] {
        [Transaction::write(0x40, vec![register]), Transaction::read(0x40, word.to_vec())]
    }

    fn source(reads: PowerReading) -> SampleSource {
        SampleSource::PowerMonitor { device: 0x40, reads }
    }

    /// The worked example of the data sheet: 11.98 V at the bus pin read as 2570h (9584 codes of 1.25 mV), 20 mV across the
    /// shunt as 1F40h (8000 codes of 2.5 µV), and the figures of negative shunt voltages, −80 mV as 8300h. Source: Texas
    /// Instruments, INA226 data sheet (SBOS547), "Programming the Power Measurement Engine" and "Shunt Voltage Register"
    /// (figures from memory).
    // Outside: INA226 data sheet (SBOS547), worked example; how: from memory
    #[test]
    fn the_data_sheet_s_example() {
        let configured = 0x4000 | 1 << 9 | 0b100 << 6 | 0b100 << 3 | 0b111_u16;
        let prepare = || {
            let [point, read] = reading(0xFE, [0x54, 0x49]);
            [point, read, Transaction::write(0x40, vec![0x00, (configured >> 8) as u8, configured as u8])]
        };
        let mut expected = prepare().to_vec();
        expected.extend(reading(0x02, [0x25, 0x70]));
        expected.extend(prepare());
        expected.extend(reading(0x01, [0x1F, 0x40]));
        expected.extend(reading(0x01, [0x83, 0x00]));
        let bus = traffic::bus(&expected);
        let mut volts = on_bus(source(PowerReading::BusVoltage), &bus).expect("on the bus").expect("it answers");
        assert_eq!(volts.read().map(|code| f64::from(code) * 1.25e-3), Ok(11.98));
        let mut shunt = on_bus(source(PowerReading::ShuntVoltage), &bus).expect("on the bus").expect("it answers");
        assert_eq!(shunt.read(), Ok(8000));
        assert_eq!(shunt.read(), Ok(-32_000));
        traffic::over(&bus);
    }

    #[test]
    fn another_chip_at_its_address_is_told() {
        let bus = traffic::bus(&reading(0xFE, [0xFF, 0xFF]));
        let told = on_bus(source(PowerReading::BusVoltage), &bus).expect("on the bus").err();
        assert_eq!(told.as_deref(), Some("what answers at 0x40 is no INA226: register FEh holds FFFFh, not 5449h"));
        traffic::over(&bus);
    }
}
