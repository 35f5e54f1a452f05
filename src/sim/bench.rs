//! A bench around a simulated world, in process: its clock, its port and its jig share the world. Waiting for a byte is
//! what moves it, and nothing else does.

use std::cell::RefCell;
use std::rc::Rc;

use super::{SimTime, TICKS_PER_SECOND, World};
use crate::capture::{EdgeChannel, OutputChannel, Part, SampleChannel, Tick};
use crate::clock::{Clock, HostTime, WallTime};
use crate::jig::{Jig, JigError, JigIdentity};
use crate::port::{Port, PortError};

/// The world and what its jig has stamped since somebody last looked.
#[derive(Debug)]
struct Shared {
    world: World,
    stamped: Part,
    /// A frequency standard that drives an input.
    standard: Option<Standard>,
}

/// What somebody holds a channel of the jig against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reference {
    /// A source at the input of a converter, in the unit of the channel.
    Level(SampleChannel, f64),
    /// A frequency standard at a digital input: pulses that are so many seconds apart.
    Pulses(EdgeChannel, f64),
}

/// The standard's next change of level.
#[derive(Debug, Clone, Copy)]
struct Standard {
    input: EdgeChannel,
    half_period: SimTime,
    next: SimTime,
    level: bool,
}

impl Shared {
    /// Stamps what the frequency standard did up to now.
    fn stamp_standard(&mut self) {
        let Some(standard) = &mut self.standard else { return };
        while standard.next <= self.world.now() {
            standard.level = !standard.level;
            self.stamped.push_edge(standard.input, self.world.tick_at(standard.next), standard.level);
            standard.next += standard.half_period;
        }
    }
}

/// A clock, the unit's port and a jig on one world. `wall` is the calendar time at which the world begins.
pub fn bench(world: World, wall: WallTime) -> (SimClock, SimPort, SimJig) {
    let shared = Rc::new(RefCell::new(Shared { world, stamped: Part::default(), standard: None }));
    let identity =
        JigIdentity { describes: "simulated jig".into(), ticks_per_second: TICKS_PER_SECOND, simulated: true };
    (SimClock { shared: Rc::clone(&shared), wall }, SimPort { shared: Rc::clone(&shared) }, SimJig { shared, identity })
}

/// The world's time as the bench's clock: host time and simulated time share zero and rate.
#[derive(Debug, Clone)]
pub struct SimClock {
    shared: Rc<RefCell<Shared>>,
    wall: WallTime,
}

impl SimClock {
    /// Looks at the world, for what only a simulated one can tell.
    pub fn with_world<T>(&self, look: impl FnOnce(&World) -> T) -> T {
        look(&self.shared.borrow().world)
    }

    /// Connects a reference from now on. False where the jig has nothing that it could be connected to.
    pub fn connect(&self, reference: Reference) -> bool {
        let Shared { world, stamped, standard } = &mut *self.shared.borrow_mut();
        match reference {
            Reference::Level(channel, value) => {
                // What was due before saw what was there.
                world.settle_samples(stamped);
                world.connect_reference(channel, value)
            }
            Reference::Pulses(input, period) => {
                let half_period = (0.5e9 * period) as SimTime;
                if half_period > 0 {
                    let next = world.now() + half_period;
                    *standard = Some(Standard { input, half_period, next, level: false });
                }
                half_period > 0
            }
        }
    }
}

impl Clock for SimClock {
    fn now(&self) -> HostTime {
        HostTime::from_nanos(self.shared.borrow().world.now())
    }

    fn wall(&self) -> WallTime {
        self.wall + std::time::Duration::from_nanos(self.now().as_nanos())
    }
}

/// The unit's service connector.
#[derive(Debug)]
pub struct SimPort {
    shared: Rc<RefCell<Shared>>,
}

impl Port for SimPort {
    /// Takes as long as the bytes take on the wire.
    fn send(&mut self, bytes: &[u8], deadline: HostTime) -> Result<(), PortError> {
        let Shared { world, stamped, .. } = &mut *self.shared.borrow_mut();
        world.unit_hears(bytes);
        world.advance(world.sent_at().min(deadline.as_nanos()), stamped);
        Ok(())
    }

    fn receive(&mut self, into: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError> {
        let Shared { world, stamped, .. } = &mut *self.shared.borrow_mut();
        let before = into.len();
        world.advance_until_said(deadline.as_nanos(), stamped);
        world.take_said(into);
        Ok(into.len() - before)
    }

    fn name(&self) -> &str {
        "simulated unit"
    }
}

/// The simulated jig.
#[derive(Debug)]
pub struct SimJig {
    shared: Rc<RefCell<Shared>>,
    identity: JigIdentity,
}

impl Jig for SimJig {
    fn identity(&self) -> &JigIdentity {
        &self.identity
    }

    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError> {
        if !World::has_output(output) {
            return Err(JigError::NoChannel { channel: output.name() });
        }
        let Shared { world, stamped, .. } = &mut *self.shared.borrow_mut();
        Ok(world.drive(output, on, stamped))
    }

    fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
        let mut shared = self.shared.borrow_mut();
        shared.stamp_standard();
        into.append(&mut shared.stamped);
        Ok(())
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        {
            let Shared { world, stamped, .. } = &mut *self.shared.borrow_mut();
            world.settle_samples(stamped);
        }
        self.collect(into)?;
        Ok(self.shared.borrow().world.tick_now())
    }

    /// Exact but for the rounding to a tick.
    fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
        (self.shared.borrow().world.tick_at(moment.as_nanos()), 1)
    }

    fn make_safe(&mut self) -> Result<(), JigError> {
        let Shared { world, stamped, .. } = &mut *self.shared.borrow_mut();
        world.make_safe(stamped);
        Ok(())
    }
}

impl Drop for SimJig {
    fn drop(&mut self) {
        // A panic may have come from within the world; then there is nothing left to make safe.
        if let Ok(mut shared) = self.shared.try_borrow_mut() {
            let Shared { world, stamped, .. } = &mut *shared;
            world.make_safe(stamped);
        }
    }
}
