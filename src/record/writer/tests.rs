//! Whole or not at all, and never over something else.

use super::*;

use super::super::seal::DIGESTS;
use crate::clock::{Clock, HostTime, WallTime};

/// A clock that stands.
pub struct Standing;

impl Clock for Standing {
    fn now(&self) -> HostTime {
        HostTime::default()
    }

    fn wall(&self) -> WallTime {
        WallTime::UNIX_EPOCH
    }
}

/// Finishes a run of a bench without a key.
fn finish(folder: RunFolder, files: Vec<(String, Vec<u8>)>) -> Result<PathBuf, WriteError> {
    let sealing = Sealing { bench: "bench-1", key: None, clock: &Standing, clock_uncertainty: None };
    folder.finish(files, &sealing).map(|kept| kept.home)
}

/// Removes what dead runs left; the folders that it was in.
fn sweep(results: &Path) -> Vec<PathBuf> {
    let removed = |left: RunFolder| {
        let part = left.path().to_owned();
        left.remove();
        part
    };
    leftovers(results).into_iter().map(removed).collect()
}

const ID: &str = "0198f2a4-6c10-7d3e-9b51-000000000001";

fn files() -> Vec<(String, Vec<u8>)> {
    vec![("record.json".into(), b"{}".to_vec()), ("plan.yaml".into(), b"plan: quick\n".to_vec())]
}

#[test]
fn a_finished_run_stands_in_place_with_its_digests() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let folder = RunFolder::stage(results.path(), "SM-0001", ID).expect("it can be staged");
    folder.capture("link.bin").expect("it can be made").write_all(b"abc").expect("it can be written");
    assert!(!folder.home().exists());
    let home = finish(folder, files()).expect("it can be finished");
    assert_eq!(home, results.path().join("SM-0001").join(ID));
    let digests = fs::read_to_string(home.join(DIGESTS)).expect("digests are there");
    // FIPS 180-4's example: SHA-256 of "abc".
    let of_abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad  captures/link.bin";
    let lines: Vec<&str> = digests.lines().collect();
    assert_eq!(lines[0], of_abc);
    assert_eq!(
        lines.iter().map(|line| &line[66..]).collect::<Vec<_>>(),
        ["captures/link.bin", "plan.yaml", "record.json", "seal.json"]
    );
    assert_eq!(predecessors(results.path(), "SM-0001"), [ID]);
    assert_eq!(fs::read_dir(results.path().join("SM-0001")).expect("it can be listed").count(), 1);
}

#[test]
fn sha256sum_accepts_the_digests_and_sees_a_changed_file() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let folder = RunFolder::stage(results.path(), "SM 0001", ID).expect("it can be staged");
    let home = finish(folder, files()).expect("it can be finished");
    let check = || {
        let mut command = std::process::Command::new("sha256sum");
        command.args(["--check", "--strict", "--quiet", DIGESTS]).current_dir(&home);
        command.output().expect("sha256sum is a part of coreutils").status.success()
    };
    assert!(check());
    fs::write(home.join("record.json"), "{ }").expect("it can be written");
    assert!(!check());
}

#[test]
fn an_abandoned_run_leaves_nothing() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let folder = RunFolder::stage(results.path(), "SM-0001", ID).expect("it can be staged");
    let part = folder.path().to_owned();
    assert!(part.is_dir());
    drop(folder);
    assert!(!part.exists() && predecessors(results.path(), "SM-0001").is_empty());
}

#[test]
fn a_sweep_takes_the_dead_and_spares_the_living_and_the_finished() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let dead = results.path().join("SM-0001").join(".0198f2a4-0000-7000-8000-00000000dead.part");
    fs::create_dir_all(dead.join("captures")).expect("it can be made");
    fs::write(dead.join("captures/link.bin"), "half").expect("it can be written");
    let foreign = results.path().join("SM-0001").join(".notes.part");
    fs::create_dir_all(&foreign).expect("it can be made");
    let living = RunFolder::stage(results.path(), "SM-0001", ID).expect("it can be staged");
    let other = "0198f2a4-6c10-7d3e-9b51-000000000002";
    RunFolder::stage(results.path(), "SM-0001", other)
        .and_then(|other| finish(other, files()))
        .expect("it can be finished");

    assert_eq!(sweep(results.path()), std::slice::from_ref(&dead));
    assert!(!dead.exists() && living.path().is_dir() && foreign.is_dir());
    assert_eq!(predecessors(results.path(), "SM-0001"), [other]);
    finish(living, files()).expect("the living run goes on");
    assert_eq!(predecessors(results.path(), "SM-0001"), [ID, other]);
}

#[test]
fn nothing_is_ever_written_over() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let first = RunFolder::stage(results.path(), "SM-0001", ID).expect("it can be staged");
    assert!(matches!(RunFolder::stage(results.path(), "SM-0001", ID), Err(WriteError::Exists { .. })));
    finish(first, files()).expect("it can be finished");
    assert!(matches!(RunFolder::stage(results.path(), "SM-0001", ID), Err(WriteError::Exists { .. })));

    let late = RunFolder::stage(results.path(), "SM-0002", ID).expect("it can be staged");
    fs::create_dir(late.home()).expect("another program makes the folder meanwhile");
    assert!(matches!(finish(late, files()), Err(WriteError::Exists { .. })));
}

#[test]
fn a_name_that_leads_out_of_the_folder_leaves_nothing() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let folder = RunFolder::stage(results.path(), "SM-0001", ID).expect("it can be staged");
    let part = folder.path().to_owned();
    let outside = vec![("../outside.json".to_owned(), Vec::new())];
    assert!(matches!(finish(folder, outside), Err(WriteError::Name { .. })));
    assert!(!part.exists() && !results.path().join("SM-0001/outside.json").exists());
    assert!(matches!(RunFolder::stage(results.path(), "../up", ID), Err(WriteError::Serial { .. })));
    assert!(matches!(RunFolder::stage(results.path(), "SM-0001", "../up"), Err(WriteError::RunId { .. })));
}

#[test]
fn a_folder_that_is_taken_away_is_not_made_again_without_its_evidence() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let folder = RunFolder::stage(results.path(), "SM-0001", ID).expect("it can be staged");
    fs::remove_dir_all(results.path().join("SM-0001")).expect("somebody tidies up");
    assert!(matches!(finish(folder, files()), Err(WriteError::TakenAway { .. })));

    let folder = RunFolder::stage(results.path(), "SM-0001", ID).expect("it can be staged");
    fs::rename(folder.path(), results.path().join("elsewhere")).expect("somebody moves it");
    fs::create_dir(folder.path()).expect("and another takes its place");
    assert!(matches!(finish(folder, files()), Err(WriteError::TakenAway { .. })));
    assert_eq!(predecessors(results.path(), "SM-0001"), Vec::<String>::new());
}

#[test]
fn trouble_says_where_and_what_to_do() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let file = results.path().join("file");
    fs::write(&file, "").expect("it can be written");
    let error = RunFolder::stage(&file, "SM-0001", ID).expect_err("a file is no folder");
    // What the system said stands in the message, so it must not be told a second time as the message's source.
    assert!(std::error::Error::source(&error).is_none());
    let error = error.to_string();
    assert!(error.contains("file/SM-0001") && error.contains("a file stands where a folder should"), "{error}");
    let error = trouble::disk("write", Path::new("results/x"), io::Error::from(io::ErrorKind::StorageFull)).to_string();
    assert!(error.starts_with("cannot write results/x: ") && error.contains("free some space there"), "{error}");
}

#[test]
fn no_results_yet_is_no_trouble() {
    let results = tempfile::tempdir().expect("a folder for the test");
    let missing = results.path().join("missing");
    assert!(sweep(&missing).is_empty());
    assert!(predecessors(&missing, "SM-0001").is_empty() && predecessors(&missing, "../..").is_empty());
}
