//! `railproof simulate` as a user meets it: a process that serves two ports until it is interrupted.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use railproof::capture::{EdgeChannel, OutputChannel, Part};
use railproof::clock::{Clock, ComputerClock};
use railproof::jig::Jig;
use railproof::jig::capture_board::{CaptureBoard, Expected};
use railproof::port::{Port, SerialPort, SerialSettings};
use rustix::process::{Pid, Signal, kill_process};

const UNIT: &str = "fixtures/units/dunlin-600.yaml";
const BOARD: &str = "fixtures/jigs/usb-board.yaml";

fn simulate(more: &[&str]) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    command.arg("simulate").args(more).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// A process that is ended even where a test fails.
struct Running(Child);

impl Running {
    fn start(more: &[&str]) -> (Self, Vec<String>) {
        let mut child = simulate(&["--unit", UNIT, "--jig", BOARD]).args(more).spawn().expect("starts");
        let out = BufReader::new(child.stdout.take().expect("piped"));
        let lines = out.lines().take(if more.contains(&"json") { 1 } else { 2 });
        let lines = lines.map(|line| line.expect("text")).collect();
        (Self(child), lines)
    }

    fn interrupt(&mut self) -> Option<i32> {
        let id = Pid::from_child(&self.0);
        kill_process(id, Signal::INT).expect("it runs");
        self.0.wait().expect("it ends").code()
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        // Already ended where all went well.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn refused(more: &[&str]) -> (Option<i32>, String) {
    let output = simulate(more).output().expect("runs");
    (output.status.code(), String::from_utf8_lossy(&output.stderr).into_owned())
}

#[test]
fn it_serves_both_ports_by_their_links_until_interrupted() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let (unit, board) = (path("unit"), path("board"));
    let more =
        ["--serial", "SM-0042", "--firmware", "1.5.0", "--scale", "5", "--unit-link", &unit, "--board-link", &board];
    let (mut running, lines) = Running::start(&more);
    assert_eq!(lines, [format!("unit  {unit}"), format!("board {board}")]);

    let clock = ComputerClock::new();
    let port = SerialPort::open(&board, SerialSettings::at(1_000_000), clock.clone()).expect("its port");
    let outputs = [OutputChannel::UnitSupply];
    let expected = Expected { ticks_per_second: 2_000_000, edges: &EdgeChannel::ALL, samples: &[], outputs: &outputs };
    let mut jig = CaptureBoard::open(Box::new(port), clock, &expected).expect("a board that fits");
    let clock = jig.clock();
    let mut port = SerialPort::open(&unit, SerialSettings::at(115_200), clock.clone()).expect("its port");
    jig.drive(OutputChannel::UnitSupply, true).expect("it switches");
    let mut heard = Vec::new();
    let give_up = clock.now().after(Duration::from_secs(300));
    while !heard.ends_with(b"\n") {
        assert!(clock.now() < give_up, "no banner");
        port.receive(&mut heard, give_up).expect("open");
    }
    assert_eq!(String::from_utf8_lossy(&heard).trim(), "DUNLIN 600 READY FW 1.5.0 SN SM-0042");
    let mut part = Part::default();
    jig.settle(&mut part).expect("it settles");
    assert_eq!(part.losses, []);
    drop(jig);

    assert_eq!(running.interrupt(), Some(0));
    assert!(!Path::new(&unit).is_symlink() && !Path::new(&board).is_symlink(), "the links are gone");
}

#[test]
fn programs_get_the_names_as_json() {
    let (mut running, lines) = Running::start(&["--format", "json"]);
    let names: serde_json::Value = serde_json::from_str(&lines[0]).expect("JSON");
    for port in ["unit", "board"] {
        assert!(Path::new(names[port].as_str().expect("a name")).exists(), "{names}");
    }
    assert_eq!(running.interrupt(), Some(0));
}

#[test]
fn what_cannot_be_served_is_refused() {
    let (exit, told) = refused(&["--unit", UNIT, "--jig", "fixtures/jigs/simulated.yaml"]);
    assert!(exit == Some(5) && told.contains("a capture board is served, this jig is of kind `simulated`"), "{told}");
    let (exit, told) = refused(&["--unit", "fixtures/units/plover-400.yaml", "--jig", BOARD]);
    assert!(exit == Some(2) && told.contains("the simulated world is a dunlin-600"), "{told}");
    let (exit, told) = refused(&["--unit", UNIT, "--jig", BOARD, "--fault", "rusty-rail"]);
    assert!(exit == Some(2) && told.contains("there is no fault `rusty-rail`"), "{told}");
    let (exit, told) = refused(&["--unit", UNIT, "--jig", BOARD, "--scale", "0"]);
    assert!(exit == Some(2) && told.contains("from 0.1 to 100"), "{told}");
    let folder = tempfile::NamedTempFile::new().expect("a file");
    let taken = folder.path().display().to_string();
    let (exit, told) = refused(&["--unit", UNIT, "--jig", BOARD, "--unit-link", &taken]);
    assert!(exit == Some(2) && told.contains("something else has this name"), "{told}");
    assert!(folder.path().exists(), "and it is still there");
}
