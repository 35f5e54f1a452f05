//! Serial ports named by the serial number of their USB device: `usb:SM-JIG-1`.
//!
//! `/dev/ttyUSB0` is whatever was plugged in first. On a computer with several benches that would sooner or later be the
//! neighbour's unit.

use serialport::{SerialPortInfo, SerialPortType};
use std::path::Path;

/// What a name by serial number begins with.
const PREFIX: &str = "usb:";
/// Where the kernel lists terminals; the list cannot be asked for where this is missing.
const TERMINALS: &str = "/sys/class/tty";

/// The device that a port's name means: itself, or that of the USB device with the serial number.
///
/// # Errors
/// No such device is plugged in, or several have that number.
pub(super) fn device(name: &str) -> Result<String, String> {
    match name.strip_prefix(PREFIX) {
        Some(serial) => with_serial(serial.trim(), &plugged_in()?),
        None => Ok(name.to_owned()),
    }
}

fn plugged_in() -> Result<Vec<SerialPortInfo>, String> {
    if !Path::new(TERMINALS).is_dir() {
        return Err(format!("this computer has no {TERMINALS} to look it up in; name the device itself"));
    }
    serialport::available_ports().map_err(|error| format!("{error}; name the device itself"))
}

fn with_serial(serial: &str, ports: &[SerialPortInfo]) -> Result<String, String> {
    let mut with_number: Vec<(&str, &str)> = ports
        .iter()
        .filter_map(|port| match &port.port_type {
            SerialPortType::UsbPort(usb) => Some((usb.serial_number.as_deref()?, port.port_name.as_str())),
            _ => None,
        })
        .collect();
    with_number.sort_unstable();
    let found: Vec<&str> = with_number.iter().filter(|(number, _)| *number == serial).map(|(_, port)| *port).collect();
    match found[..] {
        [port] => Ok(port.to_owned()),
        [] if with_number.is_empty() => {
            Err("no USB device with a serial number is plugged in; plug it in, or name the device itself".to_owned())
        }
        [] => {
            let there: Vec<String> =
                with_number.iter().map(|(number, port)| format!("{PREFIX}{number} ({port})")).collect();
            Err(format!("not plugged in; plug it in, or choose from what is: {}", there.join(", ")))
        }
        _ => Err(format!(
            "{} have this serial number; name one by its path under /dev/serial/by-path",
            found.join(" and ")
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serialport::UsbPortInfo;

    fn port(name: &str, serial: Option<&str>) -> SerialPortInfo {
        let usb = UsbPortInfo {
            vid: 0x1209,
            pid: 1,
            serial_number: serial.map(str::to_owned),
            manufacturer: None,
            product: None,
        };
        SerialPortInfo { port_name: name.to_owned(), port_type: SerialPortType::UsbPort(usb) }
    }

    #[test]
    fn a_port_is_found_by_serial_number_in_whatever_order_it_was_plugged_in() {
        let mut ports = vec![
            port("/dev/ttyUSB0", Some("SM-JIG-1")),
            port("/dev/ttyACM0", None),
            port("/dev/ttyUSB1", Some("SM-JIG-2")),
        ];
        for _ in 0..ports.len() {
            ports.rotate_left(1);
            assert_eq!(with_serial("SM-JIG-2", &ports), Ok("/dev/ttyUSB1".to_owned()));
        }
    }

    #[test]
    fn one_that_is_missing_or_there_twice_is_refused_with_what_there_is() {
        let ports = [
            port("/dev/ttyUSB1", Some("SM-JIG-2")),
            port("/dev/ttyUSB0", Some("SM-JIG-1")),
            port("/dev/ttyUSB2", Some("SM-JIG-2")),
        ];
        expect_test::expect!["not plugged in; plug it in, or choose from what is: usb:SM-JIG-1 (/dev/ttyUSB0), usb:SM-JIG-2 (/dev/ttyUSB1), usb:SM-JIG-2 (/dev/ttyUSB2)"]
            .assert_eq(&with_serial("SM-JIG-3", &ports).expect_err("missing"));
        expect_test::expect![
            "/dev/ttyUSB1 and /dev/ttyUSB2 have this serial number; name one by its path under /dev/serial/by-path"
        ]
        .assert_eq(&with_serial("SM-JIG-2", &ports).expect_err("twice"));
        expect_test::expect!["no USB device with a serial number is plugged in; plug it in, or name the device itself"]
            .assert_eq(&with_serial("SM-JIG-1", &[]).expect_err("nothing there"));
    }

    #[test]
    fn another_name_is_the_device_s_own() {
        assert_eq!(device("/dev/ttyUSB0"), Ok("/dev/ttyUSB0".to_owned()));
    }
}
