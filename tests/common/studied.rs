//! The commands that study many runs, or a table instead.

use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;

/// Exit status, what was printed, what was told.
pub fn study(command: &str, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(assert_cmd::cargo::cargo_bin!("railproof")).arg(command).args(arguments).output();
    let output = output.expect("the binary runs");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

/// Of a table with this text: exit status and result.
pub fn study_of_table(command: &str, folder: &Path, text: &str, more: &[&str]) -> (Option<i32>, Value) {
    let file = folder.join("table.csv");
    fs::write(&file, text).expect("it can be written");
    let arguments = [&["--from", file.to_str().expect("a path"), "--format", "json"], more].concat();
    let (exit, said, told) = study(command, &arguments);
    (exit, serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}{told}")))
}
