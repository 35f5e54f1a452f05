//! A serial port of the computer, through the operating system's driver.

use std::io::{ErrorKind, Read, Write};
use std::os::fd::{AsRawFd, BorrowedFd};
use std::time::Duration;

use serialport::{ClearBuffer, SerialPort as _, TTYPort};

use super::{Port, PortError, usb};
use crate::clock::{ComputerClock, HostTime};

/// The longest single wait in the driver, so that a deadline on a fast clock is looked at again in time.
const WAIT_LONGEST: Duration = Duration::from_millis(100);
/// The most bytes taken from the driver in one go.
const CHUNK: usize = 4096;

/// How two ends of a serial link frame a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SerialSettings {
    /// Bits per second.
    pub baud: u32,
    /// Data bits, 5 to 8.
    pub data_bits: u8,
    /// The parity bit.
    pub parity: Parity,
    /// Stop bits, 1 or 2.
    pub stop_bits: u8,
    /// How one end asks the other to wait.
    pub flow: Flow,
}

impl SerialSettings {
    /// The usual framing, 8N1, at `baud` bits per second.
    pub const fn at(baud: u32) -> Self {
        Self { baud, data_bits: 8, parity: Parity::None, stop_bits: 1, flow: Flow::None }
    }
}

/// The parity bit of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// Not sent.
    None,
    /// Makes the number of ones odd.
    Odd,
    /// Makes the number of ones even.
    Even,
}

/// How one end of a link asks the other to wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flow {
    /// Not at all.
    None,
    /// With the characters XON and XOFF, which the driver keeps to itself.
    Software,
    /// With the lines RTS and CTS.
    Hardware,
}

/// A serial port, opened for this program alone.
pub struct SerialPort {
    driver: TTYPort,
    name: String,
    clock: ComputerClock,
    chunk: Box<[u8; CHUNK]>,
}

impl SerialPort {
    /// Opens the device `name`, or with `usb:NUMBER` the USB device of that serial number, and forgets what arrived before:
    /// that was meant for nobody.
    ///
    /// The driver locks the device, so that no two programs drive one bench.
    ///
    /// DTR is raised where the device has such a line, since many boards wait for it; a device without one is as good.
    pub fn open(name: &str, settings: SerialSettings, clock: ComputerClock) -> Result<Self, PortError> {
        let refused = |why: String| PortError::NotOpened { port: name.to_owned(), why };
        let device = usb::device(name).map_err(refused)?;
        let builder = serialport::new(device, settings.baud)
            .data_bits(data_bits(settings.data_bits).map_err(refused)?)
            .parity(match settings.parity {
                Parity::None => serialport::Parity::None,
                Parity::Odd => serialport::Parity::Odd,
                Parity::Even => serialport::Parity::Even,
            })
            .stop_bits(stop_bits(settings.stop_bits).map_err(refused)?)
            .flow_control(match settings.flow {
                Flow::None => serialport::FlowControl::None,
                Flow::Software => serialport::FlowControl::Software,
                Flow::Hardware => serialport::FlowControl::Hardware,
            })
            .dtr_on_open(true);
        let driver = TTYPort::open(&builder).map_err(|error| refused(why_not_opened(&error)))?;
        // A blocking write to a full queue would outlast every deadline.
        // SAFETY: the descriptor belongs to `driver`, which outlives this borrow.
        let descriptor = unsafe { BorrowedFd::borrow_raw(driver.as_raw_fd()) };
        rustix::fs::fcntl_setfl(descriptor, rustix::fs::OFlags::NONBLOCK)
            .map_err(|error| refused(error.to_string()))?;
        driver.clear(ClearBuffer::All).map_err(|error| refused(error.to_string()))?;
        Ok(Self { driver, name: name.to_owned(), clock, chunk: Box::new([0; CHUNK]) })
    }

    /// Lets the driver wait until `deadline` at most; false when that has passed.
    fn wait_until(&mut self, deadline: HostTime) -> Result<bool, PortError> {
        let left = self.clock.computer_wait(deadline);
        self.driver.set_timeout(left.min(WAIT_LONGEST)).map_err(|error| self.broken(error.to_string()))?;
        Ok(!left.is_zero())
    }

    fn broken(&self, why: String) -> PortError {
        PortError::Broken { port: self.name.clone(), why }
    }

    /// What an error of an open port means. The driver has no code for a device that is gone: a pipe error from its
    /// poll, and EIO, ENXIO or ENODEV as an unspecific error, all say so.
    fn failure(&self, error: &std::io::Error) -> PortError {
        match error.kind() {
            ErrorKind::BrokenPipe | ErrorKind::NotConnected | ErrorKind::NotFound | ErrorKind::Other => {
                PortError::Unplugged { port: self.name.clone() }
            }
            _ => self.broken(error.to_string()),
        }
    }
}

impl Port for SerialPort {
    fn send(&mut self, bytes: &[u8], deadline: HostTime) -> Result<(), PortError> {
        let mut unsent = bytes;
        while !unsent.is_empty() {
            let in_time = self.wait_until(deadline)?;
            match self.driver.write(unsent) {
                Ok(taken) => unsent = &unsent[taken..],
                Err(error) if may_come_yet(&error) => {
                    if !in_time {
                        return Err(PortError::Stalled { port: self.name.clone(), unsent: unsent.len() });
                    }
                }
                Err(error) => return Err(self.failure(&error)),
            }
        }
        Ok(())
    }

    fn receive(&mut self, into: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError> {
        loop {
            let in_time = self.wait_until(deadline)?;
            match self.driver.read(&mut self.chunk[..]) {
                Ok(0) => return Err(PortError::Unplugged { port: self.name.clone() }),
                Ok(count) => {
                    into.extend_from_slice(&self.chunk[..count]);
                    return Ok(count);
                }
                Err(error) if may_come_yet(&error) => {
                    if !in_time {
                        return Ok(0);
                    }
                }
                Err(error) => return Err(self.failure(&error)),
            }
        }
    }

    fn name(&self) -> &str {
        &self.name
    }
}

fn may_come_yet(error: &std::io::Error) -> bool {
    matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock | ErrorKind::Interrupted)
}

fn data_bits(bits: u8) -> Result<serialport::DataBits, String> {
    match bits {
        5 => Ok(serialport::DataBits::Five),
        6 => Ok(serialport::DataBits::Six),
        7 => Ok(serialport::DataBits::Seven),
        8 => Ok(serialport::DataBits::Eight),
        other => Err(format!("{other} data bits; a serial port has 5 to 8")),
    }
}

fn stop_bits(bits: u8) -> Result<serialport::StopBits, String> {
    match bits {
        1 => Ok(serialport::StopBits::One),
        2 => Ok(serialport::StopBits::Two),
        other => Err(format!("{other} stop bits; a serial port has 1 or 2")),
    }
}

fn why_not_opened(error: &serialport::Error) -> String {
    let remedy = match error.kind() {
        serialport::ErrorKind::NoDevice => "close the program that uses it, then run again",
        serialport::ErrorKind::Io(ErrorKind::NotFound) => "plug the device in, or correct the port's name",
        serialport::ErrorKind::Io(ErrorKind::PermissionDenied) => {
            "add yourself to the group that owns it (often `dialout`)"
        }
        _ => "check that it is a serial port",
    };
    format!("{}; {remedy}", error.description)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::port::Pty;

    fn open_pair() -> (ComputerClock, Pty, SerialPort) {
        let clock = ComputerClock::new();
        let pty = Pty::open(clock.clone()).expect("a pty");
        let port = SerialPort::open(pty.name(), SerialSettings::at(115_200), clock.clone()).expect("its slave");
        (clock, pty, port)
    }

    fn receive_all(port: &mut dyn Port, clock: &ComputerClock, count: usize) -> Vec<u8> {
        let deadline = clock.now().after(Duration::from_secs(20));
        let mut bytes = Vec::new();
        while bytes.len() < count {
            assert!(port.receive(&mut bytes, deadline).expect("open") > 0, "only {} of {count} bytes", bytes.len());
        }
        bytes
    }

    #[test]
    fn every_byte_value_passes_both_ways() {
        let (clock, mut pty, mut port) = open_pair();
        let all: Vec<u8> = (0..=255).collect();
        let deadline = clock.now().after(Duration::from_secs(20));
        port.send(&all, deadline).expect("room");
        assert_eq!(receive_all(&mut pty, &clock, 256), all);
        pty.send(&all, deadline).expect("room");
        assert_eq!(receive_all(&mut port, &clock, 256), all);
    }

    #[test]
    fn nothing_received_at_the_deadline_is_no_error() {
        let (clock, _pty, mut port) = open_pair();
        let mut bytes = Vec::new();
        assert_eq!(port.receive(&mut bytes, clock.now().after(Duration::from_millis(2))), Ok(0));
        assert!(bytes.is_empty());
    }

    #[test]
    fn a_reader_that_takes_nothing_stalls_the_writer() {
        let (clock, _pty, mut port) = open_pair();
        let result = port.send(&vec![b'x'; 1 << 20], clock.now().after(Duration::from_millis(30)));
        assert!(matches!(result, Err(PortError::Stalled { unsent, .. }) if unsent > 0), "{result:?}");
    }

    /// XOFF (0x13) holds the sender, XON (0x11) lets it go on; neither reaches the reader.
    // Outside: XON and XOFF are DC1 and DC3, ECMA-48, 8.3; how: from memory
    #[test]
    fn the_other_side_can_ask_to_wait() {
        let (clock, mut pty, _) = open_pair();
        let settings = SerialSettings { flow: Flow::Software, ..SerialSettings::at(9600) };
        let mut port = SerialPort::open(pty.name(), settings, clock.clone()).expect("its slave");
        let soon = || clock.now().after(Duration::from_millis(200));
        pty.send(b"wait\x13", soon()).expect("room");
        assert_eq!(receive_all(&mut port, &clock, 4), b"wait");
        let held = port.send(b"GO R 90.0\n", soon());
        assert!(matches!(held, Err(PortError::Stalled { unsent: 10, .. })), "{held:?}");
        pty.send(b"\x11", soon()).expect("room");
        port.send(b"GO R 90.0\n", clock.now().after(Duration::from_secs(20))).expect("let go");
        assert_eq!(receive_all(&mut pty, &clock, 10), b"GO R 90.0\n");
    }

    #[test]
    fn a_port_whose_other_side_is_gone_is_unplugged() {
        let (clock, pty, mut port) = open_pair();
        drop(pty);
        let deadline = clock.now().after(Duration::from_secs(20));
        let gone = PortError::Unplugged { port: port.name().to_owned() };
        assert_eq!(port.receive(&mut Vec::new(), deadline), Err(gone.clone()));
        assert_eq!(port.send(b"STATE\n", deadline), Err(gone));
    }

    #[test]
    fn what_came_before_the_port_was_opened_is_forgotten() {
        let clock = ComputerClock::new();
        let mut pty = Pty::open(clock.clone()).expect("a pty");
        let deadline = clock.now().after(Duration::from_secs(20));
        pty.send(b"stale", deadline).expect("room");
        let mut port = SerialPort::open(pty.name(), SerialSettings::at(9600), clock.clone()).expect("its slave");
        pty.send(b"fresh", deadline).expect("room");
        assert_eq!(receive_all(&mut port, &clock, 5), b"fresh");
    }

    #[test]
    fn what_cannot_be_opened_says_why_and_what_to_do() {
        let missing = SerialPort::open("/dev/no-such-port", SerialSettings::at(9600), ComputerClock::new());
        expect_test::expect![[
            r#"/dev/no-such-port: cannot be opened: No such file or directory; plug the device in, or correct the port's name"#
        ]]
        .assert_eq(&missing.err().expect("missing").to_string());
        let odd = SerialSettings { data_bits: 9, ..SerialSettings::at(9600) };
        let refused = SerialPort::open("/dev/null", odd, ComputerClock::new()).err().expect("refused");
        expect_test::expect!["/dev/null: cannot be opened: 9 data bits; a serial port has 5 to 8"]
            .assert_eq(&refused.to_string());
    }
}
