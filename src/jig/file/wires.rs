//! What reads a sampled channel of a Raspberry Pi jig: the chip by its type number, its address, and which of its readings.

use super::words;
use super::{ColourReading, PowerReading, SampleSource, SampleWire};
use crate::quantity::Dimension;
use crate::written::{Fields, Mistake};

/// The chips that are known by name.
#[derive(Debug, Clone, Copy)]
enum Chip {
    Ina226,
    Ads1115,
    Tcs34725,
    Ds18b20,
}

const CHIPS: &[(&str, Chip)] =
    &[("INA226", Chip::Ina226), ("ADS1115", Chip::Ads1115), ("TCS34725", Chip::Tcs34725), ("DS18B20", Chip::Ds18b20)];
const POWER_READINGS: &[(&str, PowerReading)] =
    &[("bus voltage", PowerReading::BusVoltage), ("shunt voltage", PowerReading::ShuntVoltage)];
const COLOUR_READINGS: &[(&str, ColourReading)] = &[
    ("clear", ColourReading::Clear),
    ("red", ColourReading::Red),
    ("green", ColourReading::Green),
    ("blue", ColourReading::Blue),
];

/// Reads the wire of a channel; problems are noted.
pub(super) fn sample(fields: &Fields<'_>) -> Option<SampleWire> {
    let source = match fields.parsed("chip", "INA226", |text| words::one_of(text, "chip", CHIPS)) {
        None if fields.node("chip").is_some() => None,
        None => register(fields),
        Some(Chip::Ina226) => {
            let device = device(fields);
            let reads = fields.need_parsed("reads", "bus voltage", |text| {
                words::one_of(text, "reading of an INA226", POWER_READINGS)
            });
            device.zip(reads).map(|(device, reads)| SampleSource::PowerMonitor { device, reads })
        }
        Some(Chip::Ads1115) => {
            let device = device(fields);
            let input = fields.need_parsed("input", "0", converter_input);
            device.zip(input).map(|(device, input)| SampleSource::Converter { device, input })
        }
        Some(Chip::Tcs34725) => fields
            .need_parsed("reads", "clear", |text| words::one_of(text, "reading of a TCS34725", COLOUR_READINGS))
            .map(|reads| SampleSource::Colour { reads }),
        Some(Chip::Ds18b20) => {
            fields.need_parsed("one wire", "28-0316a2795bff", one_wire).map(|serial| SampleSource::OneWire { serial })
        }
    };
    let rate = fields.need_parsed("rate", "250 Hz", words::above_zero(Dimension::Frequency));
    Some(SampleWire { source: source?, rate: rate? })
}

fn register(fields: &Fields<'_>) -> Option<SampleSource> {
    let device = device(fields);
    let register = fields.need_parsed("register", "0x02", words::register);
    let shift = fields.parsed("shift", "3", words::shift).unwrap_or(0);
    Some(SampleSource::Register { device: device?, register: register?, shift })
}

fn device(fields: &Fields<'_>) -> Option<u8> {
    fields.need_parsed("i2c", "0x40", words::device)
}

fn converter_input(text: &str) -> Result<u8, Mistake> {
    text.parse()
        .ok()
        .filter(|input| *input < 4)
        .ok_or_else(|| Mistake::new(format!("an ADS1115 has no input `{text}`"), "write 0, 1, 2 or 3"))
}

/// A device of family 28 as the kernel names it: `28-` and twelve hexadecimal digits.
fn one_wire(text: &str) -> Result<u64, Mistake> {
    let digits = text.strip_prefix("28-").filter(|digits| digits.len() == 12);
    digits.and_then(|digits| u64::from_str_radix(digits, 16).ok()).ok_or_else(|| {
        Mistake::new(
            format!("`{text}` is no thermometer on the one-wire bus"),
            "write its name under /sys/bus/w1/devices, for example `28-0316a2795bff`",
        )
    })
}
