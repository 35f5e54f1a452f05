//! A bench that `simulate` serves in a process of its own, and the runs on it.

use super::shipped::{self, project};
use assert_cmd::cargo::cargo_bin;
use railproof::clock::{Clock, ComputerClock, HostTime};
use railproof::port::{Port, Pty, SerialPort, SerialSettings};
use railproof::record::Record;
use railproof::record::stored::Verdict;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;
use tempfile::TempDir;

pub const JIG: &str = "fixtures/jigs/usb-board.yaml";
/// Longer than anything here takes, so that a hang fails and does not last.
const PATIENCE: Duration = Duration::from_secs(120);

/// A command that is to use these ports.
pub fn plugged<'c>(command: &'c mut Command, unit: &Path, board: &Path) -> &'c mut Command {
    command.args(["--unit-port".as_ref(), unit.as_os_str()]).args(["--board-port".as_ref(), board.as_os_str()])
}

/// A process that is killed with the test, and what it says on standard error, line by line.
pub struct Process {
    pub child: Child,
    said: Receiver<String>,
}

impl Process {
    pub fn start(command: &mut Command) -> Self {
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
    pub fn await_words(&self, text: &str) -> String {
        let mut heard = Vec::new();
        loop {
            match self.said.recv_timeout(PATIENCE) {
                Ok(line) if line.contains(text) => return line,
                Ok(line) => heard.push(line),
                Err(_) => panic!("never said `{text}`, but:\n{}", heard.join("\n")),
            }
        }
    }

    pub fn signal(&self, signal: rustix::process::Signal) {
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, signal).expect("it is alive");
    }

    pub fn wait(&mut self) -> ExitStatus {
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
pub struct Served {
    _turn: Option<MutexGuard<'static, ()>>,
    pub folder: TempDir,
    pub simulate: Process,
}

impl Served {
    pub fn start(more: &[&str]) -> Self {
        let turn = ONE_BENCH.lock().unwrap_or_else(PoisonError::into_inner);
        Self { _turn: Some(turn), ..Self::beside(more) }
    }

    /// A bench in the turn of another.
    pub fn beside(more: &[&str]) -> Self {
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

    pub fn run(&self, plan: &str) -> Process {
        self.run_into(self.folder.path(), "SM-0001", plan)
    }

    /// A run whose unit hangs on another cable.
    pub fn run_by(&self, cable: &Path) -> Process {
        let results = self.folder.path().join("results");
        self.begin(cable, shipped::run("test-plans/quick.yaml", JIG, &results, "SM-0001"))
    }

    /// A run whose record goes to the results of another bench.
    pub fn run_into(&self, folder: &Path, serial: &str, plan: &str) -> Process {
        let run = shipped::run(plan, JIG, &folder.join("results"), serial);
        self.begin(&self.unit(), run)
    }

    fn begin(&self, unit: &Path, mut command: Command) -> Process {
        Process::start(plugged(&mut command, unit, &self.board()))
    }

    pub fn unit(&self) -> PathBuf {
        self.folder.path().join("unit")
    }

    pub fn board(&self) -> PathBuf {
        self.folder.path().join("board")
    }

    /// The record of a run to its end. A computer that is held up for long starves its serial ports, and the run is then
    /// rightly invalid: the bench is asked again, and says so.
    pub fn run_to_the_end(&self, plan: &str) -> Record {
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
    pub fn records(&self) -> Vec<Record> {
        self.records_of("SM-0001")
    }

    pub fn records_of(&self, serial: &str) -> Vec<Record> {
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
    pub fn faulted(&self, serials: &[&str]) -> String {
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
pub struct Cable {
    place: PathBuf,
    pulled: Arc<AtomicBool>,
    carries: JoinHandle<()>,
}

impl Cable {
    pub fn plug(served: &Path, place: &Path) -> Self {
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

    pub fn pull(self) {
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
