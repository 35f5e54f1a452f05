//! A pseudo terminal: the far side of a serial port that is not there. Any program opens its slave as a serial port.

use std::os::fd::OwnedFd;
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use super::{Port, PortError};
use crate::clock::{ComputerClock, HostTime};

/// The longest single wait, so that a deadline on a fast clock is looked at again in time.
const WAIT_LONGEST: Duration = Duration::from_millis(100);

/// The master side of a pseudo terminal.
pub struct Pty {
    master: OwnedFd,
    /// Kept open, so that the terminal stays raw and alive between one visitor and the next.
    _slave: OwnedFd,
    name: String,
    clock: ComputerClock,
}

impl Pty {
    /// Makes a pseudo terminal that is raw before anyone can open it.
    pub fn open(clock: ComputerClock) -> Result<Self, PortError> {
        Self::try_open(clock).map_err(|error| PortError::NotOpened {
            port: "a pseudo terminal".to_owned(),
            why: format!("{error}; is /dev/pts mounted?"),
        })
    }

    fn try_open(clock: ComputerClock) -> Result<Self, Errno> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let name = ptsname(&master, Vec::new())?;
        let slave = rustix::fs::open(&name, OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC, Mode::empty())?;
        let mut settings = tcgetattr(&slave)?;
        settings.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &settings)?;
        rustix::fs::fcntl_setfl(&master, OFlags::NONBLOCK)?;
        Ok(Self { master, _slave: slave, name: name.to_string_lossy().into_owned(), clock })
    }

    /// Waits until one of `ptys` has bytes to receive, or until `deadline`, by the clock of the first.
    pub fn wait_for_any(ptys: &[&Pty], deadline: HostTime) -> Result<(), PortError> {
        let Some(first) = ptys.first() else { return Ok(()) };
        let mut watched: Vec<PollFd<'_>> = ptys.iter().map(|pty| PollFd::new(&pty.master, PollFlags::IN)).collect();
        first.poll_until(&mut watched, deadline).map(drop)
    }

    /// Sends as many of `bytes` as there is room for, without waiting, and says how many.
    pub fn send_some(&mut self, bytes: &[u8]) -> Result<usize, PortError> {
        match rustix::io::write(&self.master, bytes) {
            Ok(taken) => Ok(taken),
            Err(Errno::AGAIN | Errno::INTR) => Ok(0),
            Err(error) => Err(self.failure(error)),
        }
    }

    /// Waits for one of `events`; false when `deadline` has passed.
    fn wait_until(&self, events: PollFlags, deadline: HostTime) -> Result<bool, PortError> {
        self.poll_until(&mut [PollFd::new(&self.master, events)], deadline)
    }

    fn poll_until(&self, watched: &mut [PollFd<'_>], deadline: HostTime) -> Result<bool, PortError> {
        let left = self.clock.computer_wait(deadline);
        let wait = left.min(WAIT_LONGEST);
        let timeout = Timespec { tv_sec: wait.as_secs() as i64, tv_nsec: i64::from(wait.subsec_nanos()) };
        match poll(watched, Some(&timeout)) {
            Ok(_) | Err(Errno::INTR) => Ok(!left.is_zero()),
            Err(error) => Err(self.failure(error)),
        }
    }

    fn failure(&self, error: Errno) -> PortError {
        match error {
            Errno::IO => PortError::Unplugged { port: self.name.clone() },
            other => PortError::Broken { port: self.name.clone(), why: other.to_string() },
        }
    }
}

impl Port for Pty {
    fn send(&mut self, bytes: &[u8], deadline: HostTime) -> Result<(), PortError> {
        let mut unsent = bytes;
        loop {
            unsent = &unsent[self.send_some(unsent)?..];
            if unsent.is_empty() {
                return Ok(());
            }
            if !self.wait_until(PollFlags::OUT, deadline)? {
                return Err(PortError::Stalled { port: self.name.clone(), unsent: unsent.len() });
            }
        }
    }

    fn receive(&mut self, into: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError> {
        let mut chunk = [0; 4096];
        loop {
            match rustix::io::read(&self.master, &mut chunk) {
                Ok(0) => return Err(PortError::Unplugged { port: self.name.clone() }),
                Ok(count) => {
                    into.extend_from_slice(&chunk[..count]);
                    return Ok(count);
                }
                Err(Errno::AGAIN | Errno::INTR) => {
                    if !self.wait_until(PollFlags::IN, deadline)? {
                        return Ok(0);
                    }
                }
                Err(error) => return Err(self.failure(error)),
            }
        }
    }

    fn name(&self) -> &str {
        &self.name
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::port::{SerialPort, SerialSettings};

    #[test]
    fn visitors_come_and_go() {
        let clock = ComputerClock::new();
        let mut pty = Pty::open(clock.clone()).expect("a pty");
        let deadline = clock.now().after(Duration::from_secs(20));
        for visit in 0..3u8 {
            let mut visitor =
                SerialPort::open(pty.name(), SerialSettings::at(1_000_000), clock.clone()).expect("its slave");
            visitor.send(&[visit], deadline).expect("room");
            let mut heard = Vec::new();
            assert_eq!(pty.receive(&mut heard, deadline), Ok(1));
            assert_eq!(heard, [visit]);
        }
    }

    #[test]
    fn whichever_has_bytes_ends_the_wait() {
        let clock = ComputerClock::new();
        let ptys = [Pty::open(clock.clone()).expect("a pty"), Pty::open(clock.clone()).expect("a pty")];
        let deadline = clock.now().after(Duration::from_millis(5));
        Pty::wait_for_any(&[&ptys[0], &ptys[1]], deadline).expect("open");
        assert!(clock.now() >= deadline, "nothing came, and the wait ended early");
        let mut visitor =
            SerialPort::open(ptys[1].name(), SerialSettings::at(115_200), clock.clone()).expect("its slave");
        let long = clock.now().after(Duration::from_secs(60));
        visitor.send(b"STATE\n", long).expect("room");
        // One wait of the operating system's is 100 ms at most, so the deadline is no part of what is seen here.
        Pty::wait_for_any(&[&ptys[0], &ptys[1]], long).expect("open");
        let [_, mut second] = ptys;
        assert_eq!(second.receive(&mut Vec::new(), HostTime::default()), Ok(6));
    }

    #[test]
    fn a_full_pty_takes_no_more_and_says_so() {
        let mut pty = Pty::open(ComputerClock::new()).expect("a pty");
        let mut taken = 0;
        for _ in 0..1000 {
            taken += pty.send_some(&[b'x'; 1000]).expect("open");
        }
        assert!((1000..1_000_000).contains(&taken), "{taken} bytes");
    }
}
