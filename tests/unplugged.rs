//! Cables pulled at random instants of a run: the run is invalid and says why, and nothing stays on.

mod common;
#[path = "common/counted.rs"]
mod counted;

use common::{Simulated, Unwatched};
use counted::Counted;
use railproof::capture::{EdgeChannel, OutputChannel, Part, Tick};
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
const INSTANTS: usize = 20;
/// Of so many instants one is followed by a whole run on the same bench.
const NEXT_EVERY: usize = 5;
/// How soon all has to be off; where the cable to the board is pulled, its watchdog has the rest to do.
const OFF_WITHIN: Duration = Duration::from_millis(100);

/// Something on a cable that is pulled at an instant.
struct Pulled<'a, T, C: Clock> {
    inner: T,
    clock: &'a C,
    at: Option<HostTime>,
    /// The unit's supply as last switched, and when.
    supply: (bool, HostTime),
    /// Levels of the jig's inputs as last told, and when it is to state them: a board does as it is greeted.
    levels: [Option<bool>; EdgeChannel::ALL.len()],
    states_at: Option<Tick>,
}

impl<T, C: Clock> Pulled<'_, T, C> {
    fn is_out(&self) -> bool {
        self.at.is_some_and(|at| self.clock.now() >= at)
    }

    fn in_place(&self) -> Result<(), PortError> {
        if self.is_out() { Err(PortError::Unplugged { port: "cable".into() }) } else { Ok(()) }
    }
}

impl<T: Jig, C: Clock> Pulled<'_, T, C> {
    fn note(&mut self, part: &Part) {
        for (channel, level) in EdgeChannel::ALL.into_iter().zip(&mut self.levels) {
            *level = part.edges(channel).last().map(|edge| edge.level()).or(*level);
        }
    }

    /// It is greeted: what it had not told yet is gone, and it is to state its levels.
    fn greet(&mut self) {
        let mut untold = Part::default();
        self.states_at = Some(self.inner.settle(&mut untold).expect("it is back"));
        self.note(&untold);
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
        if let Some(at) = self.states_at.take() {
            for (channel, level) in EdgeChannel::ALL.into_iter().zip(self.levels) {
                // The simulated world tells of a step's pulse its beginning alone.
                let level = level.map(|level| level && channel != EdgeChannel::Step);
                level.into_iter().for_each(|level| into.push_edge(channel, at, level));
            }
        }
        self.inner.collect(into)?;
        self.note(into);
        Ok(())
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        self.in_place()?;
        let at = self.inner.settle(into)?;
        self.note(into);
        Ok(at)
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
/// gave the board up to its watchdog; and the next run on the same bench, with the cable back in its place.
fn pulled(
    simulated: &Simulated,
    cable: Cable,
    after: Duration,
    next: bool,
) -> (RunOutcome, Duration, Option<RunOutcome>) {
    let world = WorldSettings::default();
    let (clock, port, jig) = sim::bench(World::new(&world), time::OffsetDateTime::UNIX_EPOCH);
    let at = clock.now().after(after);
    let on = |which| (cable == which).then_some(at);
    let supply = (false, clock.now());
    let (levels, states_at) = (Default::default(), None);
    let mut port = Pulled { inner: port, clock: &clock, at: on(Cable::Unit), supply, levels, states_at };
    let mut jig = Pulled { inner: jig, clock: &clock, at: on(Cable::Board), supply, levels, states_at };
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
    let next = next.then(|| {
        (port.at, jig.at) = (None, None);
        jig.make_safe().expect("it is back");
        // By then the pack rests. A port that is opened forgets what came before.
        let plugged_in = clock.now().after(Duration::from_secs(120));
        while clock.now() < plugged_in {
            port.inner.receive(&mut Vec::new(), plugged_in).expect("it is back");
        }
        jig.greet();
        let mut bench = Bench { clock: &clock, port: &mut port, jig: &mut jig, unit: &simulated.unit };
        simulated.run_on(&mut bench, &world.serial, &mut Counted::default(), &uninterrupted, &mut Unwatched)
    });
    (outcome, ended.since(at), next)
}

#[test]
fn a_pulled_cable_makes_the_run_invalid_and_the_unit_dead() {
    let simulated = Simulated::shipped("quick");
    let whole = simulated.run(&WorldSettings::default(), &mut Counted::default());
    assert_eq!(whole.decision, Decision::Conforms);
    let instants = std::env::var("RAILPROOF_DRAWS").ok().map_or(INSTANTS, |text| text.parse().expect("a number"));
    let mut chance = SmallRng::seed_from_u64(11);
    let mut slowest = [Duration::ZERO; 2];
    for instant in 0..instants {
        let after = Duration::from_secs_f64(chance.random_range(0.0..whole.took_s));
        for cable in [Cable::Unit, Cable::Board] {
            let (outcome, took, next) = pulled(&simulated, cable, after, instant % NEXT_EVERY == 0);
            assert_eq!(outcome.decision, Decision::Invalid, "{cable:?} pulled after {after:?}");
            let why = &outcome.invalid_because;
            assert!(why.iter().any(|why| why.contains("unplugged")), "{cable:?} pulled after {after:?}: {why:?}");
            assert!(took <= OFF_WITHIN, "{cable:?} pulled after {after:?}: off after {took:?}");
            if let Some(next) = next {
                let required = next.checks.iter().flat_map(|check| &check.requirements);
                let faulted: Vec<_> = required.filter(|one| one.decision != Decision::Conforms).collect();
                let findings: Vec<_> = next.checks.iter().flat_map(|check| &check.findings).collect();
                let why = (&next.invalid_because, findings, faulted);
                assert_eq!(next.decision, Decision::Conforms, "after {cable:?} was pulled after {after:?}: {why:?}");
            }
            slowest[cable as usize] = slowest[cable as usize].max(took);
        }
    }
    println!("slowest of {instants}: unit's cable {:?}, board's cable {:?}", slowest[0], slowest[1]);
}
