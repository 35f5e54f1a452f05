//! The emulated bench as a test holds it: the host process with both controllers, the mechanics that moves between them, and
//! what both of them really did, cycle by cycle.

#[path = "../common/shipped.rs"]
pub mod shipped;

use railproof::capture::{EdgeChannel, OutputChannel, Part, Tick};
use railproof::sim::{Mechanics, Seen, Wire, WorldSettings};
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use tempfile::TempDir;

/// Cycles of the one clock in a second.
pub const CYCLES_PER_SECOND: u64 = 16_000_000;

/// How much sooner than others the bench gets the processor: -20 would be the most (setpriority(2)).
const PRIORITY: i32 = -15;

/// A change of the unit's supply.
#[derive(Debug, Clone, Copy)]
pub struct Supply {
    pub at: Tick,
    pub on: bool,
    /// When the board had last heard a byte.
    pub heard: Tick,
}

/// What happened, in cycles.
#[derive(Debug, Default)]
pub struct Trace {
    pub now: Tick,
    /// Rising edges of STEP.
    pub steps: Vec<Tick>,
    pub supply: Vec<Supply>,
}

/// An emulated unit and an emulated capture board on two ports.
pub struct EmulatedBench {
    pub folder: TempDir,
    host: Child,
    trace: Arc<Mutex<Trace>>,
    serving: Option<JoinHandle<()>>,
}

impl EmulatedBench {
    /// Starts a bench with a unit of this firmware. What it runs on was built by `tests/emulated/bench_check.sh`.
    pub fn start(firmware: &str, settings: &WorldSettings) -> Self {
        // What else the computer does comes after the bench, which has to keep up with real time; threads and processes that
        // are started from here on inherit this. Not everybody may ask for it.
        if let Err(error) = rustix::process::setpriority_process(None, PRIORITY) {
            println!("the emulated bench goes on with the priority of all others: {error}");
        }
        let built = shipped::project("target/emulated");
        let folder = TempDir::new().expect("a folder");
        let mut host = Command::new(built.join("bench_host"))
            .arg(built.join(format!("dunlin-600-{firmware}/firmware.elf")))
            .arg(built.join("capture-board/capture-board.elf"))
            .args([folder.path().join("unit"), folder.path().join("board")])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the host was built by bench_check.sh");
        let trace = Arc::new(Mutex::new(Trace::default()));
        let mut server = Server {
            mechanics: Mechanics::new(settings, CYCLES_PER_SECOND),
            part: Part::default(),
            told: Vec::new(),
            voltages: Vec::new(),
            trace: Arc::clone(&trace),
            heard: 0,
        };
        let (from, mut to) = (host.stdout.take().expect("piped"), host.stdin.take().expect("piped"));
        let mut lines = BufReader::new(from).lines().map_while(Result::ok);
        // The first slice is over when both ports are there.
        server.serve_slice(&mut lines, &mut to);
        let serving = std::thread::spawn(move || while server.serve_slice(&mut lines, &mut to) {});
        Self { folder, host, trace, serving: Some(serving) }
    }

    pub fn trace(&self) -> MutexGuard<'_, Trace> {
        self.trace.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A run of a plan on it, as its user would start it.
    pub fn run(&self, plan: &str) -> Command {
        let results = self.folder.path().join("results");
        let mut command = shipped::run(plan, "fixtures/jigs/capture-board.yaml", &results, "SM-0001");
        command.arg("--confirmed");
        self.plug_in(&mut command);
        command
    }

    /// The jig's check on it.
    pub fn check(&self, jig: &Path) -> Command {
        let mut command = Command::new(assert_cmd::cargo::cargo_bin("railproof"));
        command
            .args(["jig", "check", "--confirmed", "--format", "json"])
            .args(["--unit".as_ref(), shipped::project("fixtures/units/dunlin-600.yaml").as_os_str()])
            .args(["--jig".as_ref(), jig.as_os_str()])
            .args(["--results".as_ref(), self.folder.path().join("results").as_os_str()]);
        self.plug_in(&mut command);
        command
    }

    fn plug_in(&self, command: &mut Command) {
        command
            .args(["--unit-port".as_ref(), self.folder.path().join("unit").as_os_str()])
            .args(["--board-port".as_ref(), self.folder.path().join("board").as_os_str()])
            .stdin(Stdio::null());
    }

    /// Kills the host as a fault would.
    pub fn unplug(&mut self) {
        let _ = self.host.kill();
        let _ = self.host.wait();
    }
}

impl Drop for EmulatedBench {
    fn drop(&mut self) {
        self.unplug();
        let served = self.serving.take().map(JoinHandle::join);
        assert!(std::thread::panicking() || served.is_none_or(|served| served.is_ok()), "the mechanics broke down");
    }
}

/// What the host told of a slice.
#[derive(Debug, Clone, Copy)]
enum Told {
    Wire(Wire),
    Output(OutputChannel, bool),
}

struct Server {
    mechanics: Mechanics,
    part: Part,
    told: Vec<(Tick, Told)>,
    /// Voltages that were last given, mV, in the order of the wiring table.
    voltages: Vec<u32>,
    trace: Arc<Mutex<Trace>>,
    heard: Tick,
}

impl Server {
    /// Hears what happened in a slice, moves the mechanics through it and answers. False when the host is gone.
    fn serve_slice(&mut self, lines: &mut impl Iterator<Item = String>, to: &mut impl Write) -> bool {
        let Some(until) = self.hear_slice(lines) else { return false };
        self.move_to(until);
        let answer = self.answer();
        to.write_all(answer.as_bytes()).and_then(|()| to.flush()).is_ok()
    }

    fn hear_slice(&mut self, lines: &mut impl Iterator<Item = String>) -> Option<Tick> {
        self.told.clear();
        for line in lines {
            let numbers: Vec<u64> = line[1..].split_whitespace().map(|word| word.parse().expect("a number")).collect();
            let told = match (line.as_bytes()[0], &numbers[..]) {
                (b'T', &[until, heard]) => {
                    self.heard = heard;
                    return Some(until);
                }
                (b'S', &[at]) => (at, Told::Wire(Wire::Step)),
                (b'D', &[level, at]) => (at, Told::Wire(Wire::Direction(level == 1))),
                (b'E', &[level, at]) => (at, Told::Wire(Wire::Enabled(level == 1))),
                (b'H', &[level, at]) => (at, Told::Wire(Wire::Holding(level == 1))),
                (b'L', &[lit, at]) => (at, Told::Wire(Wire::Lit(lit as u8))),
                (b'O', &[output, level, at]) => {
                    let output = OutputChannel::at(output as usize).expect("an output");
                    (at, Told::Output(output, level == 1))
                }
                _ => panic!("the host said {line}"),
            };
            self.told.push(told);
        }
        None
    }

    /// The two controllers took their turns one after the other; here they are brought into one order of time.
    fn move_to(&mut self, until: Tick) {
        self.told.sort_by_key(|told| told.0);
        let mut trace = self.trace.lock().unwrap_or_else(PoisonError::into_inner);
        for &(at, told) in &self.told {
            self.mechanics.advance(nanoseconds(at), &mut self.part);
            match told {
                Told::Wire(wire) => {
                    self.mechanics.wire(wire);
                    if wire == Wire::Step {
                        trace.steps.push(at);
                    }
                }
                Told::Output(output, on) => {
                    self.mechanics.switch(output, on);
                    if output == OutputChannel::UnitSupply {
                        trace.supply.push(Supply { at, on, heard: self.heard });
                    }
                }
            }
        }
        self.mechanics.advance(nanoseconds(until), &mut self.part);
        trace.now = until;
    }

    fn answer(&mut self) -> String {
        let mut answer = String::new();
        if self.voltages.is_empty() {
            // Emergency stop and guard are healthy and closed.
            answer.push_str("E 6 1 0\nE 7 1 0\n");
        }
        for channel in EdgeChannel::ALL {
            for edge in self.part.edges(channel) {
                writeln!(answer, "E {} {} {}", channel as usize, u8::from(edge.level()), edge.tick())
                    .expect("a string");
            }
        }
        self.part.clear();
        let voltages = voltages(&self.mechanics.seen());
        self.voltages.resize(voltages.len(), 0);
        for (last, (place, millivolts)) in self.voltages.iter_mut().zip(voltages) {
            if std::mem::replace(last, millivolts) != millivolts {
                writeln!(answer, "V {place} {millivolts}").expect("a string");
            }
        }
        if self.mechanics.take_brown_out() {
            answer.push_str("R\n");
        }
        answer.push_str("G\n");
        answer
    }
}

/// The jig's wiring table: what each sensor puts out, mV, and on which input of which multiplexer.
fn voltages(seen: &Seen) -> Vec<(String, u32)> {
    let millivolts = |volts: f64| (volts * 1000.0).round().clamp(0.0, 5000.0) as u32;
    let mut voltages = vec![millivolts(seen.volts / 2.0), millivolts(seen.amps)];
    voltages.extend(seen.celsius.map(|celsius| millivolts(0.5 + 0.01 * celsius)));
    let first = voltages.into_iter().enumerate().map(|(input, voltage)| (format!("0 {input}"), voltage));
    let lights = seen.light.iter().enumerate().map(|(input, light)| (format!("1 {input}"), millivolts(5.0 * light)));
    first.chain(lights).collect()
}

fn nanoseconds(cycle: Tick) -> u64 {
    cycle * 125 / 2
}
