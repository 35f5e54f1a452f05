//! Cables pulled at random instants of a run: the run is invalid and says why, and nothing stays on.

mod common;
#[path = "common/counted.rs"]
mod counted;

use common::{Simulated, Unwatched};
use counted::Counted;
use railproof::capture::{OutputChannel, Part, Tick};
use railproof::clock::{Clock, HostTime};
use railproof::decide::Decision;
use railproof::event::RunOutcome;
use railproof::jig::{Jig, JigError, JigIdentity};
use railproof::port::{Port, PortError};
use railproof::run::Bench;
use railproof::sim::{self, World, WorldSettings};
use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};
use std::sync::atomic::AtomicBool;
use std::time::Duration;

/// Instants, unless `RAILPROOF_DRAWS` says how many.
const INSTANTS: usize = 60;
/// How soon all has to be off; where the cable to the board is pulled, its watchdog has the rest to do.
const OFF_WITHIN: Duration = Duration::from_millis(100);

/// Something on a cable that is pulled at an instant.
struct Pulled<'a, T, C: Clock> {
    inner: T,
    clock: &'a C,
    at: Option<HostTime>,
    /// The unit's supply as last switched, and when.
    supply: (bool, HostTime),
}

impl<T, C: Clock> Pulled<'_, T, C> {
    fn is_out(&self) -> bool {
        self.at.is_some_and(|at| self.clock.now() >= at)
    }

    fn in_place(&self) -> Result<(), PortError> {
        if self.is_out() { Err(PortError::Unplugged { port: "cable".into() }) } else { Ok(()) }
    }
}

impl<T: Port, C: Clock> Port for Pulled<'_, T, C> {
    fn send(&mut self, bytes: &[u8], deadline: HostTime) -> Result<(), PortError> {
        self.in_place()?;
        self.inner.send(bytes, deadline)
    }

    fn receive(&mut self, into: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError> {
        self.in_place()?;
        let until = self.at.map_or(deadline, |at| deadline.min(at));
        match self.inner.receive(into, until)? {
            0 => self.in_place().map(|()| 0),
            received => Ok(received),
        }
    }

    fn name(&self) -> &str {
        "cable"
    }
}

impl<T: Jig, C: Clock> Jig for Pulled<'_, T, C> {
    fn identity(&self) -> &JigIdentity {
        self.inner.identity()
    }

    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError> {
        self.in_place()?;
        if output == OutputChannel::UnitSupply {
            self.supply = (on, self.clock.now());
        }
        self.inner.drive(output, on)
    }

    fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
        self.in_place()?;
        self.inner.collect(into)
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        self.in_place()?;
        self.inner.settle(into)
    }

    fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
        self.inner.tick_at(moment)
    }

    fn make_safe(&mut self) -> Result<(), JigError> {
        self.in_place()?;
        if self.supply.0 {
            self.supply = (false, self.clock.now());
        }
        self.inner.make_safe()
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Cable {
    Unit,
    Board,
}

/// A run whose cable is pulled after a time; how long after that it took until nothing was on any more, or until the run
/// gave the board up to its watchdog.
fn pulled(simulated: &Simulated, cable: Cable, after: Duration) -> (RunOutcome, Duration) {
    let world = WorldSettings::default();
    let (clock, port, jig) = sim::bench(World::new(&world), time::OffsetDateTime::UNIX_EPOCH);
    let at = clock.now().after(after);
    let on = |which| (cable == which).then_some(at);
    let supply = (false, clock.now());
    let mut port = Pulled { inner: port, clock: &clock, at: on(Cable::Unit), supply };
    let mut jig = Pulled { inner: jig, clock: &clock, at: on(Cable::Board), supply };
    let mut bench = Bench { clock: &clock, port: &mut port, jig: &mut jig, unit: &simulated.unit };
    let (mut evidence, uninterrupted) = (Counted::default(), AtomicBool::new(false));
    let outcome = simulated.run_on(&mut bench, &world.serial, &mut evidence, &uninterrupted, &mut Unwatched);
    let ended = match cable {
        Cable::Unit => {
            assert!(!jig.supply.0, "the supply stayed on");
            jig.supply.1
        }
        Cable::Board => clock.now(),
    };
    (outcome, ended.since(at))
}

#[test]
fn a_pulled_cable_makes_the_run_invalid_and_the_unit_dead() {
    let simulated = Simulated::shipped("quick");
    let whole = simulated.run(&WorldSettings::default(), &mut Counted::default());
    assert_eq!(whole.decision, Decision::Conforms);
    let instants = std::env::var("RAILPROOF_DRAWS").ok().map_or(INSTANTS, |text| text.parse().expect("a number"));
    let mut chance = SmallRng::seed_from_u64(11);
    let mut slowest = [Duration::ZERO; 2];
    for _ in 0..instants {
        let after = Duration::from_secs_f64(chance.random_range(0.0..whole.took_s));
        for cable in [Cable::Unit, Cable::Board] {
            let (outcome, took) = pulled(&simulated, cable, after);
            assert_eq!(outcome.decision, Decision::Invalid, "{cable:?} pulled after {after:?}");
            let why = &outcome.invalid_because;
            assert!(why.iter().any(|why| why.contains("unplugged")), "{cable:?} pulled after {after:?}: {why:?}");
            assert!(took <= OFF_WITHIN, "{cable:?} pulled after {after:?}: off after {took:?}");
            slowest[cable as usize] = slowest[cable as usize].max(took);
        }
    }
    println!("slowest of {instants}: unit's cable {:?}, board's cable {:?}", slowest[0], slowest[1]);
}
