//! The chips on a jig's buses. Each driver is a small file behind one trait; where a well-kept driver crate exists, it
//! does the talking.

mod colour;
mod converter;
mod one_wire;
mod power_monitor;
mod register;

use crate::jig::SampleSource;
use embedded_hal::i2c::I2c;
use embedded_hal_bus::i2c::RcDevice;
use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;

/// One reading of a chip that has been prepared for it.
pub trait Chip {
    /// Reads the code. Errors say what the chip did not do.
    fn read(&mut self) -> Result<i32, String>;
}

/// A chip's view of a bus that it shares.
type Shared<B> = RcDevice<B>;

/// Prepares a chip on the I2C bus; `None` for those on the one-wire bus.
pub fn on_bus<B: I2c + 'static>(source: SampleSource, bus: &Rc<RefCell<B>>) -> Option<Result<Box<dyn Chip>, String>> {
    let bus = RcDevice::new(Rc::clone(bus));
    let boxed = match source {
        SampleSource::Register { device, register, shift } => {
            Ok(Box::new(register::Register::new(bus, device, register, shift)) as Box<dyn Chip>)
        }
        SampleSource::PowerMonitor { device, reads } => {
            power_monitor::PowerMonitor::prepared(bus, device, reads).map(|chip| Box::new(chip) as _)
        }
        SampleSource::Converter { device, input } => {
            converter::Converter::prepared(bus, device, input).map(|chip| Box::new(chip) as _)
        }
        SampleSource::Colour { reads } => colour::Colour::prepared(bus, reads).map(|chip| Box::new(chip) as _),
        SampleSource::OneWire { .. } => return None,
    };
    Some(boxed)
}

/// A chip on the one-wire bus; `None` for all others. `devices` is where the kernel shows them.
pub fn on_one_wire(source: SampleSource, devices: &Path) -> Option<Result<Box<dyn Chip>, String>> {
    let SampleSource::OneWire { serial } = source else { return None };
    Some(one_wire::Thermometer::found(devices, serial).map(|chip| Box::new(chip) as _))
}

#[cfg(test)]
mod traffic {
    //! A bus that insists on recorded traffic.

    use embedded_hal_mock::eh1::i2c::{Mock, Transaction};
    use std::cell::RefCell;
    use std::rc::Rc;

    pub fn bus(expected: &[Transaction]) -> Rc<RefCell<Mock>> {
        Rc::new(RefCell::new(Mock::new(expected)))
    }

    /// All that was expected has come.
    pub fn over(bus: &Rc<RefCell<Mock>>) {
        bus.borrow_mut().done();
    }
}
