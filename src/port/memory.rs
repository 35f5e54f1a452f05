//! Two ports joined in memory, for tests of whatever talks over a port.

use crossbeam_channel::{Receiver, RecvTimeoutError, SendTimeoutError, Sender, bounded};

use super::{Port, PortError};
use crate::clock::{ComputerClock, HostTime};

/// How many unread sends one direction holds before the sender has to wait.
const BACKLOG: usize = 1024;
const NAME: &str = "memory";

/// One end of a pair made by [`memory_pair`].
#[derive(Debug)]
pub struct MemoryPort {
    outgoing: Sender<Vec<u8>>,
    incoming: Receiver<Vec<u8>>,
    clock: ComputerClock,
}

/// Two ports, each hearing what the other sends. Dropping one unplugs the other.
pub fn memory_pair(clock: &ComputerClock) -> (MemoryPort, MemoryPort) {
    let (there, there_end) = bounded(BACKLOG);
    let (back, back_end) = bounded(BACKLOG);
    (
        MemoryPort { outgoing: there, incoming: back_end, clock: clock.clone() },
        MemoryPort { outgoing: back, incoming: there_end, clock: clock.clone() },
    )
}

impl Port for MemoryPort {
    fn send(&mut self, bytes: &[u8], deadline: HostTime) -> Result<(), PortError> {
        if bytes.is_empty() {
            return Ok(());
        }
        let wait = self.clock.computer_wait(deadline);
        self.outgoing.send_timeout(bytes.to_vec(), wait).map_err(|error| match error {
            SendTimeoutError::Timeout(unsent) => PortError::Stalled { port: NAME.to_owned(), unsent: unsent.len() },
            SendTimeoutError::Disconnected(_) => PortError::Unplugged { port: NAME.to_owned() },
        })
    }

    fn receive(&mut self, into: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError> {
        match self.incoming.recv_timeout(self.clock.computer_wait(deadline)) {
            Ok(bytes) => {
                into.extend_from_slice(&bytes);
                Ok(bytes.len())
            }
            Err(RecvTimeoutError::Timeout) => Ok(0),
            Err(RecvTimeoutError::Disconnected) => Err(PortError::Unplugged { port: NAME.to_owned() }),
        }
    }

    fn name(&self) -> &str {
        NAME
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::clock::Clock;

    #[test]
    fn bytes_arrive_in_order_and_then_nothing() {
        let clock = ComputerClock::new();
        let (mut here, mut there) = memory_pair(&clock);
        here.send(b"GO ", clock.now()).expect("room");
        here.send(b"R 90.0\n", clock.now()).expect("room");
        let mut heard = Vec::new();
        while there.receive(&mut heard, clock.now()).expect("joined") > 0 {}
        assert_eq!(heard, b"GO R 90.0\n");
    }

    #[test]
    fn an_end_alone_is_unplugged_and_a_full_one_stalls() {
        let clock = ComputerClock::new();
        let (mut here, there) = memory_pair(&clock);
        for _ in 0..BACKLOG {
            here.send(b"x", clock.now()).expect("room");
        }
        let soon = clock.now().after(Duration::from_millis(1));
        assert!(matches!(here.send(b"xyz", soon), Err(PortError::Stalled { unsent: 3, .. })));
        drop(there);
        assert!(matches!(here.send(b"x", clock.now()), Err(PortError::Unplugged { .. })));
        assert!(matches!(here.receive(&mut Vec::new(), clock.now()), Err(PortError::Unplugged { .. })));
    }
}
