//! A bench without a world: a firmware that is a script, a jig that notes what it is told, and time that waiting moves.

use railproof::capture::{CaptureSink, EdgeChannel, Mark, OutputChannel, Part, Tick};
use railproof::capture::{Driven, MarkKind};
use railproof::clock::{Clock, HostTime, WallTime};
use railproof::event::{Event, RunOutcome, Watcher};
use railproof::jig::{Jig, JigError, JigFile, JigIdentity};
use railproof::measure::Setup;
use railproof::plan::{Draft, Plan};
use railproof::port::{Port, PortError};
use railproof::run::{self, Bench, Evidence, Job, Operator, Protection};
use railproof::unit::Unit;
use railproof::written::{Problem, Source};
use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;
use std::sync::atomic::AtomicBool;

const NANOS_PER_TICK: u64 = 500;
pub const MILLISECOND: u64 = 1_000_000;

/// Something that a unit says: how long after it was asked, ns, and the bytes.
pub type Said = (u64, Vec<u8>);

/// A line of a unit, `after` milliseconds later.
pub fn says(after_ms: u64, line: &str) -> Said {
    (after_ms * MILLISECOND, format!("{line}\r\n").into_bytes())
}

/// A unit's firmware.
pub trait Firmware {
    /// Its supply comes on.
    fn wakes(&mut self) -> Vec<Said>;
    /// Its supply goes off, and its line floats.
    fn sleeps(&mut self) -> Vec<Said> {
        Vec::new()
    }
    /// It is told a line at a time in ns.
    fn told(&mut self, at: u64, line: &str) -> Vec<Said>;
    /// Its motor's steps from now on, ns, where what it was told last changed them.
    fn steps(&mut self) -> Option<Vec<u64>> {
        None
    }
}

/// What bench, unit and jig share.
pub struct Script {
    now: u64,
    firmware: Box<dyn Firmware>,
    due: Vec<Said>,
    /// Steps that are to come, the last one first.
    steps: Vec<u64>,
    part: Part,
    looked: bool,
    /// Outputs that are on.
    pub on: Vec<OutputChannel>,
    /// Everything that was switched.
    pub switched: Vec<(OutputChannel, bool)>,
    /// Every line that the unit was told.
    pub told: Vec<String>,
    /// When the guard opens, ns.
    pub guard_opens: Option<u64>,
    /// What the unit says without end.
    pub flood: Option<Vec<u8>>,
}

/// A bench on a script.
#[derive(Clone)]
pub struct Scripted(pub Rc<RefCell<Script>>, JigIdentity);

impl Scripted {
    pub fn new(firmware: impl Firmware + 'static) -> Self {
        let identity = JigIdentity { describes: "scripted".into(), ticks_per_second: 2_000_000, simulated: true };
        let script = Script {
            now: 0,
            firmware: Box::new(firmware),
            due: Vec::new(),
            steps: Vec::new(),
            part: Part::default(),
            looked: false,
            on: Vec::new(),
            switched: Vec::new(),
            told: Vec::new(),
            guard_opens: None,
            flood: None,
        };
        Self(Rc::new(RefCell::new(script)), identity)
    }
}

impl Script {
    fn tick(&self) -> Tick {
        self.now / NANOS_PER_TICK
    }

    fn switch(&mut self, output: OutputChannel, on: bool) -> Tick {
        let at = self.tick();
        let was = self.on.contains(&output);
        self.switched.push((output, on));
        self.on.retain(|other| *other != output);
        if on {
            self.on.push(output);
        }
        self.part.driven.push(Driven { at, output, on });
        if output == OutputChannel::UnitSupply && on != was {
            self.due.clear();
            let said = if on { self.firmware.wakes() } else { self.firmware.sleeps() };
            self.schedule(said);
        }
        at
    }

    fn schedule(&mut self, said: Vec<Said>) {
        self.due.extend(said.into_iter().map(|(after, bytes)| (self.now + after, bytes)));
        self.due.sort_by_key(|(at, _)| *at);
    }
}

impl Clock for Scripted {
    fn now(&self) -> HostTime {
        HostTime::from_nanos(self.0.borrow().now)
    }

    fn wall(&self) -> WallTime {
        WallTime::UNIX_EPOCH
    }
}

impl Port for Scripted {
    fn send(&mut self, bytes: &[u8], _: HostTime) -> Result<(), PortError> {
        let script = &mut *self.0.borrow_mut();
        let line = String::from_utf8_lossy(bytes).into_owned();
        let said = script.firmware.told(script.now, line.trim_end_matches(['\r', '\n']));
        if let Some(mut steps) = script.firmware.steps() {
            steps.reverse();
            script.steps = steps;
        }
        script.told.push(line.trim_end_matches(['\r', '\n']).to_owned());
        script.schedule(said);
        Ok(())
    }

    fn receive(&mut self, into: &mut Vec<u8>, deadline: HostTime) -> Result<usize, PortError> {
        let script = &mut *self.0.borrow_mut();
        if let Some(flood) = &script.flood {
            into.extend_from_slice(flood);
            script.now += MILLISECOND;
            return Ok(flood.len());
        }
        if script.due.first().is_some_and(|(at, _)| *at <= deadline.as_nanos()) {
            let (at, bytes) = script.due.remove(0);
            script.now = script.now.max(at);
            into.extend_from_slice(&bytes);
            return Ok(bytes.len());
        }
        script.now = script.now.max(deadline.as_nanos());
        Ok(0)
    }

    fn name(&self) -> &str {
        "script"
    }
}

impl Jig for Scripted {
    fn identity(&self) -> &JigIdentity {
        &self.1
    }

    fn drive(&mut self, output: OutputChannel, on: bool) -> Result<Tick, JigError> {
        Ok(self.0.borrow_mut().switch(output, on))
    }

    fn collect(&mut self, into: &mut Part) -> Result<(), JigError> {
        let script = &mut *self.0.borrow_mut();
        if !std::mem::replace(&mut script.looked, true) {
            script.part.push_edge(EdgeChannel::EmergencyStop, 0, true);
            script.part.push_edge(EdgeChannel::Guard, 0, true);
        }
        if script.guard_opens.take_if(|at| *at <= script.now).is_some() {
            let at = script.tick();
            script.part.push_edge(EdgeChannel::Guard, at, false);
        }
        while let Some(at) = script.steps.pop_if(|at| *at <= script.now) {
            script.part.push_edge(EdgeChannel::Step, at / NANOS_PER_TICK, true);
        }
        for (from, to) in script.part.edges.iter().zip(&mut into.edges) {
            to.extend_from_slice(from);
        }
        into.driven.extend_from_slice(&script.part.driven);
        script.part.clear();
        Ok(())
    }

    fn settle(&mut self, into: &mut Part) -> Result<Tick, JigError> {
        self.collect(into)?;
        Ok(self.0.borrow().tick())
    }

    fn tick_at(&self, moment: HostTime) -> (Tick, Tick) {
        (moment.as_nanos() / NANOS_PER_TICK, 1)
    }

    fn make_safe(&mut self) -> Result<(), JigError> {
        let script = &mut *self.0.borrow_mut();
        for output in script.on.clone() {
            script.switch(output, false);
        }
        Ok(())
    }
}

/// Evidence of which the marks are kept.
#[derive(Default)]
pub struct Marks(pub Vec<MarkKind>);

impl CaptureSink for Marks {
    fn part(&mut self, _: &Part) {}

    fn mark(&mut self, mark: &Mark) {
        self.0.push(mark.kind.clone());
    }
}

impl Evidence for Marks {
    fn secure(&mut self) -> Result<(), String> {
        Ok(())
    }
}

/// Nobody looks.
pub struct Unwatched;

impl Watcher for Unwatched {
    fn see(&mut self, _: &Event<'_>) {}
}

/// A plan with the unit that it is for, on the jig file of the simulated jig.
pub struct Fitted {
    pub plan: Plan,
    pub unit: Unit,
    setup: Setup,
    pub protection: Protection,
}

impl Fitted {
    /// A plan of these checks for a unit file of the project; `change` edits the unit file's text.
    pub fn new(unit: &str, change: impl FnOnce(String) -> String, checks: &str) -> Self {
        let text = |path: &str| {
            std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).expect("it is shipped")
        };
        let shown = |problems: Vec<Problem>| -> ! { panic!("{}: {}", problems[0], problems[0].right) };
        let source = Source::new("unit.yaml", change(text(unit)));
        let unit = Unit::read(&source).unwrap_or_else(|problems| shown(problems));
        let source = Source::new("jig.yaml", text("fixtures/jigs/simulated.yaml"));
        let jig = JigFile::read(&source).unwrap_or_else(|problems| shown(problems));
        let plan = format!(
            "plan: scripted\nrevision: 1\nmodel: {}\ndecision rule: {{ false accept at most: 2.5 % }}\n{checks}",
            unit.model
        );
        let draft = Draft::read(&Source::new("plan.yaml", plan)).unwrap_or_else(|problems| shown(problems));
        let plan = draft.fit(&run::envelope(&unit, &jig)).unwrap_or_else(|problems| shown(problems));
        let setup = run::setup(&unit, &jig);
        // A script has no motor: that nothing steps is no danger.
        let protection = Protection { edges: Vec::new(), ..run::protection(&unit, &jig) };
        Self { plan, unit, setup, protection }
    }

    /// Runs it.
    pub fn run(
        &self,
        bench: &Scripted,
        operator: &mut dyn Operator,
        evidence: &mut dyn Evidence,
        watcher: &mut dyn Watcher,
    ) -> RunOutcome {
        let (clock, mut port, mut jig) = (bench.clone(), bench.clone(), bench.clone());
        let mut bench = Bench { clock: &clock, port: &mut port, jig: &mut jig, unit: &self.unit };
        let interrupted = AtomicBool::new(false);
        let job = Job {
            plan: &self.plan,
            setup: &self.setup,
            protection: &self.protection,
            serial: "SP-0001",
            interrupted: &interrupted,
        };
        run::run(&job, &mut bench, operator, evidence, watcher)
    }
}
