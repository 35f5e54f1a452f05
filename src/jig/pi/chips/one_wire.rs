//! Thermometer DS18B20 on the one-wire bus, through the kernel's own driver: millidegrees, one thousandth of a kelvin a
//! code. A reading waits for the conversion, three quarters of a second.

use super::Chip;
use std::fs;
use std::path::{Path, PathBuf};

/// What the chip holds when it has its supply and has not converted yet, millidegrees.
const NOT_CONVERTED: i32 = 85_000;
/// What it can measure, millidegrees.
const RANGE: std::ops::RangeInclusive<i32> = -55_000..=125_000;

pub struct Thermometer {
    file: PathBuf,
}

impl Thermometer {
    pub fn found(devices: &Path, serial: u64) -> Result<Self, String> {
        let file = devices.join(format!("28-{serial:012x}")).join("temperature");
        if file.exists() {
            return Ok(Self { file });
        }
        Err(format!(
            "there is no {}: look at the thermometer's wires, and whether the kernel's one-wire bus is switched on",
            file.display()
        ))
    }
}

impl Chip for Thermometer {
    fn read(&mut self) -> Result<i32, String> {
        let text = fs::read_to_string(&self.file).map_err(|error| format!("{}: {error}", self.file.display()))?;
        let code = text.trim().parse().map_err(|_| format!("{} holds `{}`", self.file.display(), text.trim()))?;
        match code {
            NOT_CONVERTED => Err("the thermometer lost its supply on the way: it says 85 °C to the digit".to_owned()),
            code if RANGE.contains(&code) => Ok(code),
            code => Err(format!("the thermometer cannot have measured {code} millidegrees")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::on_one_wire;
    use super::*;
    use crate::jig::SampleSource;

    /// The range of −55 °C to +125 °C and the power-on value of +85 °C. Source: Maxim Integrated, DS18B20 data sheet
    /// (19-7487), "Operation: Measuring Temperature" (from memory).
    // Outside: DS18B20 data sheet (19-7487), range and power-on value; how: from memory
    #[test]
    fn what_the_kernel_shows_becomes_a_code_or_a_reason() {
        let devices = tempfile::tempdir().expect("a folder");
        let source = SampleSource::OneWire { serial: 0x0316_a279_5bff };
        let missing = on_one_wire(source, devices.path()).expect("one wire").err().expect("nothing is there");
        assert!(missing.contains("28-0316a2795bff"), "{missing}");
        let folder = devices.path().join("28-0316a2795bff");
        fs::create_dir(&folder).expect("a folder");
        let file = folder.join("temperature");
        let cases =
            [("23125\n", Some(23_125)), ("-10062\n", Some(-10_062)), ("85000\n", None), ("", None), ("126000", None)];
        for (text, expected) in cases {
            fs::write(&file, text).expect("a file");
            let mut chip = on_one_wire(source, devices.path()).expect("one wire").expect("it is there");
            assert_eq!(chip.read().ok(), expected, "{text}");
        }
    }
}
