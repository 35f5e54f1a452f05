//! A results folder that the shipped binary fills, with a home of its own, so that nobody's key signs by accident.

use assert_cmd::cargo::cargo_bin;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

pub fn project(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

pub struct SealedBench {
    pub folder: TempDir,
}

impl SealedBench {
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder") }
    }

    pub fn results(&self) -> PathBuf {
        self.folder.path().join("results")
    }

    pub fn railproof(&self, words: &[&str]) -> Command {
        let mut command = Command::new(cargo_bin("railproof"));
        command.env("XDG_CONFIG_HOME", self.folder.path().join("config")).env("RAILPROOF_RESULTS", self.results());
        command.env_remove("RAILPROOF_KEY").args(words).stdin(Stdio::null());
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    pub fn done(&self, words: &[&str]) -> Output {
        self.railproof(words).output().expect("the binary runs")
    }

    /// A quick run of a healthy unit, not yet begun.
    pub fn quick(&self, serial: &str) -> Command {
        let mut command = self.railproof(&["run", "--serial", serial]);
        command.arg(project("test-plans/quick.yaml")).arg("--unit").arg(project("fixtures/units/dunlin-600.yaml"));
        command.arg("--jig").arg(project("fixtures/jigs/simulated.yaml"));
        command
    }

    /// The same, done: its folder.
    pub fn run(&self, serial: &str) -> PathBuf {
        let output = self.quick(serial).output().expect("the binary runs");
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        self.folder_named(&output).expect("the run names its folder")
    }

    /// The folder that a run named as its own.
    pub fn folder_named(&self, output: &Output) -> Option<PathBuf> {
        let said = String::from_utf8_lossy(&output.stdout);
        said.lines().find(|line| line.starts_with(&*self.results().to_string_lossy())).map(PathBuf::from)
    }
}
