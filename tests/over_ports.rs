//! The shipped binary over real serial ports (pseudo terminals): `simulate` in one process, `run` in another.

#[path = "common/shipped.rs"]
mod shipped;

use assert_cmd::cargo::cargo_bin;
use railproof::clock::{Clock, ComputerClock, HostTime};
use railproof::port::{Port, Pty, SerialPort, SerialSettings};
use railproof::record::Record;
use railproof::record::stored::Verdict;
use shipped::{decisions, in_process, project};
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;
use tempfile::TempDir;

const JIG: &str = "fixtures/jigs/usb-board.yaml";
/// Longer than anything here takes, so that a hang fails and does not last.
const PATIENCE: Duration = Duration::from_secs(120);

/// A process that is killed with the test, and what it says on standard error, line by line.
struct Process {
    child: Child,
    said: Receiver<String>,
}

impl Process {
    fn start(command: &mut Command) -> Self {
        let mut child = command
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        let (sender, said) = channel();
        let stderr: ChildStderr = child.stderr.take().expect("it was piped");
        std::thread::spawn(move || {
            for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    break;
                }
            }
        });
        Self { child, said }
    }

    /// Waits until it says something that contains `text`.
    fn await_words(&self, text: &str) -> String {
        let mut heard = Vec::new();
        loop {
            match self.said.recv_timeout(PATIENCE) {
                Ok(line) if line.contains(text) => return line,
                Ok(line) => heard.push(line),
                Err(_) => panic!("never said `{text}`, but:\n{}", heard.join("\n")),
            }
        }
    }

    fn signal(&self, signal: rustix::process::Signal) {
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, signal).expect("it is alive");
    }

    fn wait(&mut self) -> ExitStatus {
        self.child.wait().expect("it can be waited for")
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// One bench at a time: each is two processes that have to keep up with the clock.
static ONE_BENCH: Mutex<()> = Mutex::new(());

/// A served bench and where runs on it go.
struct Served {
    _turn: Option<MutexGuard<'static, ()>>,
    folder: TempDir,
    simulate: Process,
}

impl Served {
    fn start(more: &[&str]) -> Self {
        let turn = ONE_BENCH.lock().unwrap_or_else(PoisonError::into_inner);
        Self { _turn: Some(turn), ..Self::beside(more) }
    }

    /// A bench in the turn of another.
    fn beside(more: &[&str]) -> Self {
        let folder = TempDir::new().expect("a folder");
        let simulate = Process::start(
            Command::new(cargo_bin("railproof"))
                .arg("simulate")
                .args(["--unit".as_ref(), project("fixtures/units/dunlin-600.yaml").as_os_str()])
                .args(["--jig".as_ref(), project(JIG).as_os_str()])
                .args(["--unit-link".as_ref(), folder.path().join("unit").as_os_str()])
                .args(["--board-link".as_ref(), folder.path().join("board").as_os_str()])
                .args(more),
        );
        simulate.await_words("Serving");
        Self { _turn: None, folder, simulate }
    }

    fn run(&self, plan: &str) -> Process {
        self.run_into(self.folder.path(), "SM-0001", plan)
    }

    /// A run whose unit hangs on another cable.
    fn run_by(&self, cable: &Path) -> Process {
        let results = self.folder.path().join("results");
        self.begin(cable, shipped::run("test-plans/quick.yaml", JIG, &results, "SM-0001"))
    }

    /// A run whose record goes to the results of another bench.
    fn run_into(&self, folder: &Path, serial: &str, plan: &str) -> Process {
        let run = shipped::run(plan, JIG, &folder.join("results"), serial);
        self.begin(&self.folder.path().join("unit"), run)
    }

    fn begin(&self, unit: &Path, mut command: Command) -> Process {
        command
            .args(["--unit-port".as_ref(), unit.as_os_str()])
            .args(["--board-port".as_ref(), self.folder.path().join("board").as_os_str()]);
        Process::start(&mut command)
    }

    /// The record of a run to its end. A computer that is held up for long starves its serial ports, and the run is then
    /// rightly invalid: the bench is asked again, and says so.
    fn run_to_the_end(&self, plan: &str) -> Record {
        for _ in 0..3 {
            let status = self.run(plan).wait().code();
            let record = self.records().pop().expect("a run leaves its record");
            if status != Some(4) {
                assert_eq!(status, Some(0), "{:?}", record.decision);
                return record;
            }
            println!("asked again, since the bench was held up: {:?}", record.invalid_because);
        }
        panic!("the bench was held up three times");
    }

    /// The finished runs, oldest first.
    fn records(&self) -> Vec<Record> {
        self.records_of("SM-0001")
    }

    fn records_of(&self, serial: &str) -> Vec<Record> {
        let mut folders: Vec<PathBuf> = std::fs::read_dir(self.folder.path().join("results").join(serial))
            .map(|entries| entries.flatten().map(|entry| entry.path()).collect())
            .unwrap_or_default();
        folders.retain(|path| !path.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.')));
        folders.sort();
        folders
            .iter()
            .map(|folder| {
                let bytes = std::fs::read(folder.join("record.json")).expect("a finished run has its record");
                serde_json::from_slice(&bytes).expect("the record is whole")
            })
            .collect()
    }

    /// What did not conform in the runs of these units.
    fn faulted(&self, serials: &[&str]) -> String {
        let mut faulted = String::new();
        for check in serials.iter().flat_map(|serial| self.records_of(serial)).flat_map(|record| record.checks) {
            for finding in &check.findings {
                faulted += &format!("{}: {finding}\n", check.name);
            }
            for required in check.requirements.iter().filter(|required| required.decision != Verdict::Conforms) {
                faulted += &format!("{}: {}: {:?}\n", check.name, required.measurand, required.readings);
            }
        }
        faulted
    }
}

/// A cable from a served unit's port to a place of its own, until it is pulled.
struct Cable {
    place: PathBuf,
    pulled: Arc<AtomicBool>,
    carries: JoinHandle<()>,
}

impl Cable {
    fn plug(served: &Path, place: &Path) -> Self {
        let clock = ComputerClock::new();
        let port = served.to_str().expect("a plain name");
        let mut there = SerialPort::open(port, SerialSettings::at(115_200), clock.clone()).expect("it is free");
        let mut here = Pty::open(clock.clone()).expect("a pty");
        std::os::unix::fs::symlink(here.name(), place).expect("the place is free");
        let pulled = Arc::new(AtomicBool::new(false));
        let is_pulled = Arc::clone(&pulled);
        let carries = std::thread::spawn(move || {
            let mut bytes = Vec::new();
            while !is_pulled.load(Ordering::Relaxed) {
                let soon = clock.now().after(Duration::from_millis(1));
                carry(&mut there, &mut here, &mut bytes, soon);
                carry(&mut here, &mut there, &mut bytes, soon);
            }
        });
        Self { place: place.to_owned(), pulled, carries }
    }

    fn pull(self) {
        self.pulled.store(true, Ordering::Relaxed);
        self.carries.join().expect("it carried until now");
        std::fs::remove_file(&self.place).expect("it was plugged in there");
    }
}

/// What finds nobody who takes it is lost, as on a real line.
fn carry(from: &mut dyn Port, to: &mut dyn Port, bytes: &mut Vec<u8>, until: HostTime) {
    bytes.clear();
    if from.receive(bytes, until).is_ok_and(|count| count > 0) {
        drop(to.send(bytes, until));
    }
}

/// The unit's cable is pulled, and is back at once: the run stays invalid all the same, since a unit that falls off its port may
/// have browned out, and nobody could tell. The supply goes off over the board's own cable, and the next run finds a bench
/// that is ready.
#[test]
fn a_unit_that_is_back_at_once_makes_the_run_invalid_and_the_next_one_fine() {
    let served = Served::start(&["--scale", "3"]);
    let (unit, place) = (served.folder.path().join("unit"), served.folder.path().join("cable"));
    let clock = ComputerClock::new();
    // At rest while the unit starts up and its pack is loaded, then on its way home.
    for (ms, moves) in [(150, false), (2500, true)] {
        let cable = Cable::plug(&unit, &place);
        let mut run = served.run_by(&place);
        served.simulate.await_words("unit supply on");
        clock.sleep_until(clock.now().after(Duration::from_millis(ms)));
        let pulled = clock.now();
        cable.pull();
        let back = Cable::plug(&unit, &place);
        served.simulate.await_words("unit supply off");
        println!(
            "pulled {}: supply off after {:?}",
            if moves { "in motion" } else { "at rest" },
            clock.now().since(pulled)
        );
        assert_eq!(run.wait().code(), Some(4));
        let record = served.records().pop().expect("an invalid run leaves its record");
        assert_eq!(record.decision, Verdict::Invalid);
        assert!(record.invalid_because[0].contains("unplugged"), "{:?}", record.invalid_because);
        let done: Vec<&str> =
            record.checks.iter().flat_map(|check| &check.moves).map(|planned| planned.label.as_str()).collect();
        assert_eq!(done.iter().any(|label| label.starts_with("home")), moves, "{done:?}");

        let status = served.run_by(&place).wait().code();
        assert!(matches!(status, Some(0 | 4)), "{status:?}: {}", served.faulted(&["SM-0001"]));
        let record = served.records().pop().expect("a run leaves its record");
        let held_up = record.invalid_because.iter().all(|why| !why.contains("unplugged") && !why.contains("opened"));
        assert!(held_up, "{:?}", record.invalid_because);
        back.pull();
    }
}

#[test]
fn the_same_unit_gets_the_same_decisions_over_ports_and_in_process() {
    let served = Served::start(&["--seed", "3", "--scale", "3"]);
    let over_ports = served.run_to_the_end("test-plans/quick.yaml");
    let in_process = in_process("test-plans/quick.yaml", &["--seed", "3"]);
    assert_eq!(decisions(&over_ports), decisions(&in_process));

    let (mut compared, mut apart) = (0, Vec::new());
    for (there, here) in over_ports.checks.iter().zip(&in_process.checks) {
        for (there, here) in there.requirements.iter().zip(&here.requirements) {
            for (a, b) in there.readings.iter().zip(&here.readings) {
                let (Some(a), Some(b)) = (&a.measured, &b.measured) else { continue };
                // Outside: ISO 13528:2022, 9.7, E_n of the same unit measured over two ways in; how: from memory
                // Two independent readings of one thing agree where E_n = |a - b| / sqrt(Ua² + Ub²) is at most 1
                // (ISO 13528:2022, 9.7).
                let doubt = a.expanded_uncertainty.hypot(b.expanded_uncertainty);
                compared += 1;
                if (a.value - b.value).abs() > doubt {
                    apart.push(format!("{}: {} and {} ± {doubt} {}", there.measurand, a.value, b.value, there.unit));
                }
            }
        }
    }
    assert!(compared > 20, "only {compared} readings");
    // At 95 % coverage some pairs lie apart by chance alone.
    assert!(apart.len() * 10 <= compared, "{} of {compared} lie apart:\n{}", apart.len(), apart.join("\n"));
}

#[test]
fn a_run_that_is_interrupted_leaves_the_bench_safe_and_an_invalid_record() {
    let served = Served::start(&[]);
    let mut run = served.run("test-plans/quick.yaml");
    served.simulate.await_words("unit supply on");
    run.signal(rustix::process::Signal::INT);
    assert_eq!(run.wait().code(), Some(130));
    assert_eq!(served.simulate.await_words("unit supply off"), "unit supply off");
    let record = served.records().remove(0);
    assert!(record.interrupted);
    assert_eq!(record.decision, Verdict::Invalid);
}

#[test]
fn a_killed_run_is_cut_off_by_the_watchdog_and_leaves_no_half_record() {
    let served = Served::start(&["--scale", "3"]);
    let mut killed = served.run("test-plans/quick.yaml");
    served.simulate.await_words("unit supply on");
    killed.signal(rustix::process::Signal::KILL);
    killed.wait();
    served.simulate.await_words("unit supply off by the watchdog");
    assert!(served.records().is_empty());

    let next = served.run("test-plans/quick.yaml");
    next.await_words("is kept as invalid in");
    drop(next);
    let broken_off = served.records().remove(0);
    assert_eq!(broken_off.decision, Verdict::Invalid);
    assert!(broken_off.invalid_because[0].contains("broken off in its middle"), "{:?}", broken_off.invalid_because);
    served.run_to_the_end("test-plans/quick.yaml");
}

#[test]
fn an_unplugged_bench_makes_the_run_invalid() {
    let mut served = Served::start(&[]);
    let mut run = served.run("test-plans/quick.yaml");
    served.simulate.await_words("unit supply on");
    served.simulate.signal(rustix::process::Signal::KILL);
    served.simulate.wait();
    assert_eq!(run.wait().code(), Some(4));
    let record = served.records().remove(0);
    assert_eq!(record.decision, Verdict::Invalid);
    assert!(record.invalid_because[0].contains("unplugged"), "{:?}", record.invalid_because);
}

#[test]
fn a_bench_that_is_in_use_is_refused_and_its_run_goes_on_undisturbed() {
    let served = Served::start(&["--scale", "3"]);
    let mut first = served.run("test-plans/quick.yaml");
    served.simulate.await_words("unit supply on");
    let mut second = served.run("test-plans/quick.yaml");
    second.await_words("close the program that uses it");
    assert_eq!(second.wait().code(), Some(4));
    // Held up, it would be invalid; disturbed, it would not conform.
    assert!(matches!(first.wait().code(), Some(0 | 4)));
    let records = served.records();
    assert_eq!(records.len(), 1, "the refused run leaves no record");
    let held_up = records[0].invalid_because.iter().all(|why| !why.contains("unplugged") && !why.contains("garbled"));
    assert!(held_up, "{:?}", records[0].invalid_because);
}

#[test]
fn two_benches_at_once_keep_their_records_in_one_folder() {
    let here = Served::start(&["--seed", "1"]);
    let there = Served::beside(&["--seed", "2", "--serial", "SM-0002"]);
    let results = here.folder.path();
    let mut conformed = [false; 2];
    for asked in 1..=3 {
        let mut runs = [
            (here.run_into(results, "SM-0001", "test-plans/quick.yaml"), "SM-0001"),
            (there.run_into(results, "SM-0002", "test-plans/quick.yaml"), "SM-0002"),
        ];
        let statuses = runs.each_mut().map(|(run, _)| run.wait().code());
        for (_, serial) in &runs {
            let records = here.records_of(serial);
            assert_eq!(records.len(), asked, "each run leaves its record");
            assert!(records.iter().all(|record| record.unit.serial == *serial));
        }
        // Held up, a run is rightly invalid, and its bench is asked again.
        let rightly = statuses.iter().all(|status| matches!(status, Some(0 | 4)));
        assert!(rightly, "{statuses:?}\n{}", here.faulted(&["SM-0001", "SM-0002"]));
        for (conformed, status) in conformed.iter_mut().zip(statuses) {
            *conformed |= status == Some(0);
        }
        if conformed == [true; 2] {
            return;
        }
        println!("asked again, since the benches were held up: {statuses:?}");
    }
    panic!("the benches were held up three times");
}
