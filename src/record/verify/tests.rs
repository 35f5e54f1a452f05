//! Runs that were sealed and then treated badly: what was done is named, and nothing else.

use super::*;
use crate::clock::{Clock, HostTime, WallTime};
use crate::record::seal::{self, BenchKey, Chain, Link, Seal, Sealing};
use crate::record::{Kept, RunFolder};
use std::os::unix::fs::symlink;
use tempfile::TempDir;

/// A clock that stands.
struct Standing(i64);

impl Clock for Standing {
    fn now(&self) -> HostTime {
        HostTime::default()
    }

    fn wall(&self) -> WallTime {
        WallTime::from_unix_timestamp(self.0).expect("a time")
    }
}

fn id(number: u32) -> String {
    format!("0198f2a4-6c10-7d3e-9b51-{number:012x}")
}

fn kept(results: &Path, serial: &str, number: u32) -> Kept {
    kept_at(results, serial, number, i64::from(number))
}

fn kept_at(results: &Path, serial: &str, number: u32, at: i64) -> Kept {
    sealed(results, serial, number, at, None)
}

fn sealed(results: &Path, serial: &str, number: u32, at: i64, key: Option<&BenchKey>) -> Kept {
    let folder = RunFolder::stage(results, serial, &id(number)).expect("it can be staged");
    let files = [("record.json", format!("{{ \"run\": {number} }}")), ("captures/run.capture", "edges".repeat(100))];
    let files = files.map(|(name, text)| (name.to_owned(), text.into_bytes())).into();
    let clock_uncertainty = Some(std::time::Duration::ZERO);
    let sealing = Sealing { bench: "bench-1", key, clock: &Standing(at), clock_uncertainty };
    folder.finish(files, &sealing).expect("it is kept")
}

fn key(number: u8) -> BenchKey {
    BenchKey::new("bench-1", &[number; 32])
}

/// Six runs of three serial numbers.
fn six() -> (TempDir, Vec<Kept>) {
    six_by(None)
}

fn six_by(key: Option<&BenchKey>) -> (TempDir, Vec<Kept>) {
    let results = tempfile::tempdir().expect("a folder for the test");
    let one = |number: u32| sealed(results.path(), &format!("SM-000{}", number % 3), number, i64::from(number), key);
    let kept = (1..=6).map(one).collect();
    (results, kept)
}

/// What is found, as kind and path below the results folder.
fn found(results: &Path) -> Vec<(Kind, String)> {
    let verified = verify(&[results.to_owned()], None).expect("it can be read");
    let below = |path: &Path| path.strip_prefix(results).expect("below the results").display().to_string();
    verified.findings.iter().map(|finding| (finding.kind, below(&finding.path))).collect()
}

fn at(kept: &Kept, file: &str) -> String {
    format!("{}/{}/{file}", kept.seal.serial, kept.seal.run).trim_end_matches('/').to_owned()
}

#[test]
fn what_was_not_touched_is_clean_and_its_chain_is_told() {
    let (results, kept) = six();
    let verified = verify(&[results.path().to_owned()], None).expect("it can be read");
    assert_eq!((verified.runs, &verified.findings[..], verified.is_whole), (6, &[][..], true));
    let [chain] = &verified.chains[..] else { panic!("{:?}", verified.chains) };
    assert_eq!((chain.first, chain.newest, chain.runs), (1, 6, 6));
    assert_eq!(chain.head, kept[5].head.link.digest);
    assert!(verified.has_head(&kept[2].head.link.digest) && !verified.has_head(&"0".repeat(64)));
    assert_eq!(kept[3].seal.previous.as_ref(), Some(&kept[2].head.link));
}

#[test]
fn every_file_changed_removed_or_added_is_named_alone() {
    let files = ["record.json", "captures/run.capture", "digests.sha256", "seal.json", "digests.sha256.sig"];
    for (key, files) in [(None, &files[..4]), (Some(key(1)), &files[..])] {
        for (file, run) in files.iter().flat_map(|file| [0, 3, 5].map(|run| (file, run))) {
            let (results, kept) = six_by(key.as_ref());
            let path = kept[run].home.join(file);
            let mut bytes = fs::read(&path).expect("it is there");
            let middle = bytes.len() / 2;
            bytes[middle] ^= 1;
            fs::write(&path, &bytes).expect("it can be written");
            assert_eq!(found(results.path()), [(Kind::Changed, at(&kept[run], file))]);
            fs::remove_file(&path).expect("it can be removed");
            assert_eq!(found(results.path()), [(Kind::Missing, at(&kept[run], file))]);
        }
    }
    let (results, kept) = six();
    for file in ["captures/more.capture", "digests.sha256.sig"] {
        fs::write(kept[1].home.join(file), "").expect("it can be written");
        assert_eq!(found(results.path()), [(Kind::Added, at(&kept[1], file))]);
        fs::remove_file(kept[1].home.join(file)).expect("it can be removed");
    }
}

#[test]
fn runs_that_were_swapped_are_both_named() {
    let (results, kept) = six();
    let aside = results.path().join("aside");
    fs::rename(&kept[1].home, &aside).expect("it can be moved");
    fs::rename(&kept[3].home, &kept[1].home).expect("it can be moved");
    fs::rename(&aside, &kept[3].home).expect("it can be moved");
    let mut expected = [(Kind::Moved, at(&kept[1], "")), (Kind::Moved, at(&kept[3], ""))];
    expected.sort();
    let mut found = found(results.path());
    found.sort();
    assert_eq!(found, expected);
}

#[test]
fn runs_that_were_taken_away_are_named_as_far_as_the_next_seal_knows() {
    for gone in 0..5 {
        let (results, kept) = six();
        fs::remove_dir_all(&kept[gone].home).expect("it can be removed");
        assert_eq!(found(results.path()), [(Kind::Missing, at(&kept[gone], ""))], "{gone}");
    }
    let (results, kept) = six();
    for gone in &kept[1..4] {
        fs::remove_dir_all(&gone.home).expect("it can be removed");
    }
    let verified = verify(&[results.path().to_owned()], None).expect("it can be read");
    let says: Vec<&str> = verified.findings.iter().map(|finding| finding.says.as_str()).collect();
    assert!(says[0].starts_with("run 4 of bench-1") && says[1].starts_with("runs 2 to 3 of bench-1"), "{says:?}");
}

/// The newest run has no successor; what the results folder remembers tells, and the run that comes next.
#[test]
fn the_newest_run_is_missed_too_while_it_is_remembered() {
    let (results, six_runs) = six();
    fs::remove_dir_all(&six_runs[5].home).expect("it can be removed");
    assert_eq!(found(results.path()), [(Kind::Missing, at(&six_runs[5], ""))]);
    let before = seal::before(results.path(), "bench-1").expect("it can be sealed");
    assert_eq!((before.lost.as_ref(), before.sealed), (Some(&six_runs[5].head), None));
    let next = kept(results.path(), "SM-0009", 7);
    assert_eq!(next.head.counter, 7);
    assert_eq!(found(results.path()), [(Kind::Missing, at(&six_runs[5], ""))]);

    // Without that memory the newest is whatever stands.
    let (results, kept) = six();
    fs::remove_dir_all(&kept[5].home).expect("it can be removed");
    fs::remove_dir_all(results.path().join(".chains")).expect("it can be removed");
    assert_eq!(found(results.path()), []);
    let verified = verify(&[results.path().to_owned()], None).expect("it can be read");
    assert!(!verified.has_head(&kept[5].head.link.digest));
    // Of a bench whose runs are all gone.
    let (results, kept) = six();
    for serial in folders(results.path()).iter().filter(|path| !is_hidden(path)) {
        fs::remove_dir_all(serial).expect("it can be removed");
    }
    assert_eq!(found(results.path()), [(Kind::Missing, at(&kept[5], ""))]);
}

#[test]
fn a_lost_or_damaged_memory_of_the_chain_is_made_anew() {
    for damage in ["", "{}", "{ \"format\": 1 }"] {
        let (results, before) = six();
        let memory = results.path().join(".chains/bench-1.json");
        if damage.is_empty() {
            fs::remove_dir_all(results.path().join(".chains")).expect("it can be removed");
        } else {
            fs::write(memory, damage).expect("it can be written");
        }
        let next = kept(results.path(), "SM-0001", 7);
        assert_eq!((next.head.counter, next.seal.previous.as_ref()), (7, Some(&before[5].head.link)));
        assert_eq!(found(results.path()), []);
    }
}

/// What a run leaves that is killed between announcing itself and its renaming, and between that and confirming it.
#[test]
fn a_run_that_was_announced_counts_where_it_stands() {
    let (results, before) = six();
    let announced = Head { counter: 7, link: link(&before[5], 7), chain: before[5].head.chain.clone() };
    let chain = locked(results.path());
    chain.announce(&announced).expect("it can be written");
    drop(chain);
    assert_eq!(found(results.path()), []);
    let seventh = kept(results.path(), "SM-0001", 8);
    assert_eq!((seventh.head.counter, seventh.seal.previous.as_ref()), (7, Some(&before[5].head.link)));

    let chain = locked(results.path());
    chain.announce(&Head { counter: 8, link: link(&before[5], 9), ..announced }).expect("it can be written");
    fs::create_dir_all(results.path().join(&before[5].seal.serial).join(id(9))).expect("it was renamed into place");
    assert_eq!(chain.head(), Some(&seventh.head));
    drop(chain);
    let chain = locked(results.path());
    assert_eq!(chain.head().map(|head| head.counter), Some(8));
}

fn locked(results: &Path) -> Chain {
    Chain::lock(results, "bench-1").expect("it can be locked")
}

fn link(like: &Kept, number: u32) -> Link {
    Link { run: id(number), ..like.head.link.clone() }
}

/// Makes all of a run's seal anew, as somebody would who changed its record; signed with `key`.
fn seal_anew(kept: &Kept, key: Option<&BenchKey>) {
    fs::write(kept.home.join("record.json"), "{}").expect("it can be written");
    let mut seal = Seal { key: key.map(|key| key.public().fingerprint()), ..kept.seal.clone() };
    let record = seal.files.iter_mut().find(|file| file.file == "record.json").expect("it is sealed");
    (record.bytes, record.sha256) = (2, crate::record::digest(b"{}"));
    let text = seal.to_text();
    fs::write(kept.home.join("seal.json"), &text).expect("it can be written");
    let manifest = seal::manifest(&seal.digests(text.as_bytes()));
    fs::write(kept.home.join("digests.sha256"), &manifest).expect("it can be written");
    let signature = kept.home.join("digests.sha256.sig");
    match key {
        Some(key) => fs::write(signature, seal::sign(key, manifest.as_bytes())).expect("it can be written"),
        None => drop(fs::remove_file(signature)),
    }
}

#[test]
fn a_run_that_was_sealed_anew_is_told_by_the_next() {
    let (results, kept) = six();
    seal_anew(&kept[2], None);
    assert_eq!(found(results.path()), [(Kind::Changed, at(&kept[2], ""))]);
}

/// A changed record that is made to look as if there had been no seals yet.
#[test]
fn a_run_that_was_stripped_of_its_seal_is_no_older_record() {
    for run in [2, 5] {
        let (results, kept) = six();
        seal_anew(&kept[run], None);
        fs::remove_file(kept[run].home.join("seal.json")).expect("it can be removed");
        let manifest = fs::read_to_string(kept[run].home.join("digests.sha256")).expect("it is there");
        let stripped: String =
            manifest.lines().filter(|line| !line.ends_with("seal.json")).map(|line| format!("{line}\n")).collect();
        fs::write(kept[run].home.join("digests.sha256"), stripped).expect("it can be written");
        let expected = [(Kind::Unsealed, at(&kept[run], "")), (Kind::Missing, at(&kept[run], "seal.json"))];
        assert_eq!(found(results.path()), expected);
    }
}

fn trusting(key: &BenchKey, options: &str) -> Trust {
    let line = seal::line_for("bench-1", key.public()).replace("namespaces=", &format!("{options}namespaces="));
    Trust::read(&line).expect("a line")
}

fn believed(results: &Path, trust: &Trust) -> Vec<(Kind, String)> {
    let verified = verify(&[results.to_owned()], Some(trust)).expect("it can be read");
    verified.findings.iter().map(|finding| (finding.kind, finding.says.clone())).collect()
}

#[test]
fn a_trusted_key_proves_who_sealed_and_nothing_else_does() {
    let (results, kept) = six_by(Some(&key(1)));
    let trust = trusting(&key(1), "");
    assert_eq!(believed(results.path(), &trust), []);
    let others = believed(results.path(), &trusting(&key(2), ""));
    assert!(others.len() == 6 && others.iter().all(|(kind, _)| *kind == Kind::UnknownKey), "{others:?}");
    // Retired before the last two runs were sealed.
    let retired = believed(results.path(), &trusting(&key(1), "valid-before=\"19700101000004Z\","));
    assert_eq!(retired.iter().map(|(kind, _)| *kind).collect::<Vec<_>>(), [Kind::UnknownKey; 2]);
    // The newest run, which no other vouches for, sealed anew: without a key, and with another one.
    seal_anew(&kept[5], None);
    assert!(matches!(&believed(results.path(), &trust)[..], [.., (Kind::Unsigned, _)]));
    seal_anew(&kept[5], Some(&key(2)));
    assert!(matches!(&believed(results.path(), &trust)[..], [.., (Kind::UnknownKey, _)]));
    let unsigned = six();
    assert_eq!(believed(unsigned.0.path(), &trust).iter().filter(|(kind, _)| *kind == Kind::Unsigned).count(), 6);
}

/// What is signed counts: a `seal.json` that was made to fit itself is the changed file, and not the manifest.
#[test]
fn a_seal_that_agrees_with_itself_alone_is_the_changed_file() {
    let (results, kept) = six_by(Some(&key(1)));
    let seal = Seal { sealed: "2020-01-01T00:00:00Z".to_owned(), ..kept[5].seal.clone() };
    fs::write(kept[5].home.join("seal.json"), seal.to_text()).expect("it can be written");
    assert_eq!(found(results.path()), [(Kind::Changed, at(&kept[5], "seal.json"))]);
    // Another key's signature over the same manifest.
    let (results, kept) = six_by(Some(&key(1)));
    let manifest = fs::read(kept[5].home.join("digests.sha256")).expect("it is there");
    fs::write(kept[5].home.join("digests.sha256.sig"), seal::sign(&key(2), &manifest)).expect("it can be written");
    assert_eq!(found(results.path()), [(Kind::Changed, at(&kept[5], "digests.sha256.sig"))]);
}

#[test]
fn strange_things_in_the_place_of_files_are_told_and_never_followed_or_waited_for() {
    let (results, kept) = six();
    let record = kept[0].home.join("record.json");
    fs::rename(&record, results.path().join("aside.json")).expect("it can be moved");
    symlink(results.path().join("aside.json"), &record).expect("a link");
    let seal = kept[1].home.join("seal.json");
    fs::remove_file(&seal).expect("it can be removed");
    rustix::fs::mknodat(rustix::fs::CWD, &seal, rustix::fs::FileType::Fifo, 0o600.into(), 0).expect("a pipe");
    symlink("/", kept[2].home.join("root")).expect("a link");
    fs::write(kept[3].home.join("seal.json"), [0xFF; 1000]).expect("it can be written");
    let mut found = found(results.path());
    found.sort();
    let mut expected = [
        (Kind::Changed, at(&kept[0], "record.json")),
        (Kind::Changed, at(&kept[1], "seal.json")),
        (Kind::Added, at(&kept[2], "root")),
        (Kind::Changed, at(&kept[3], "seal.json")),
    ];
    expected.sort();
    assert_eq!(found, expected);
}

/// What cannot be looked at is told as such, and neither as missing nor as whole.
#[test]
fn a_folder_that_cannot_be_read_is_told_and_nothing_is_concluded() {
    let nowhere = folder::look(Path::new("/nowhere"), true);
    assert!(matches!(&nowhere.findings[..], [finding] if finding.kind == Kind::Unreadable), "{nowhere:?}");
}

#[test]
fn records_from_before_the_seals_are_unsealed_and_still_checked() {
    let (results, _) = six();
    let old = results.path().join("SM-0001").join(id(99));
    fs::create_dir_all(&old).expect("it can be made");
    fs::write(old.join("record.json"), "{}").expect("it can be written");
    let digests = format!("{}  record.json\n", crate::record::digest(b"{}"));
    fs::write(old.join("digests.sha256"), digests).expect("it can be written");
    let place = format!("SM-0001/{}", id(99));
    assert_eq!(found(results.path()), [(Kind::Unsealed, place.clone())]);
    fs::write(old.join("record.json"), "{ }").expect("it can be written");
    let changed = (Kind::Changed, format!("{place}/record.json"));
    assert_eq!(found(results.path()), [(Kind::Unsealed, place), changed]);
}

#[test]
fn a_clock_that_was_set_back_is_a_remark() {
    let results = tempfile::tempdir().expect("a folder for the test");
    kept_at(results.path(), "SM-0001", 1, 1000);
    let second = kept_at(results.path(), "SM-0001", 2, 10);
    assert_eq!(found(results.path()), [(Kind::Remark, at(&second, ""))]);
    let before = seal::before(results.path(), "bench-1").expect("it can be sealed");
    assert_eq!(before.sealed, Some(WallTime::from_unix_timestamp(10).expect("a time")));
    assert!(before.lost.is_none());
}

#[test]
fn two_runs_with_one_number_are_told_and_a_copy_is_in_the_wrong_place() {
    let (results, _) = six();
    let elsewhere = tempfile::tempdir().expect("a folder for the test");
    fs::rename(results.path().join(".chains"), elsewhere.path().join("aside")).expect("it can be moved");
    let seventh = kept(results.path(), "SM-0001", 7);
    fs::remove_dir_all(results.path().join(".chains")).expect("it can be removed");
    fs::rename(elsewhere.path().join("aside"), results.path().join(".chains")).expect("it can be moved");
    let other = kept(results.path(), "SM-0002", 8);
    assert_eq!((seventh.head.counter, other.head.counter), (7, 7));
    assert_eq!(found(results.path()), [(Kind::Forked, at(&other, ""))]);

    let (results, kept) = six();
    let copy = kept[0].home.with_file_name(id(77));
    fs::create_dir(&copy).expect("it can be made");
    fs::create_dir(copy.join("captures")).expect("it can be made");
    for file in ["record.json", "captures/run.capture", "digests.sha256", "seal.json"] {
        fs::copy(kept[0].home.join(file), copy.join(file)).expect("it can be copied");
    }
    assert_eq!(found(results.path()), [(Kind::Moved, format!("{}/{}", kept[0].seal.serial, id(77)))]);
}

/// What was sealed in format 1 is proven by every later version.
#[test]
fn seals_of_format_1_are_read_for_ever() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/seals/format-1");
    let file = trust_file(&kept).expect("it is kept with them");
    let trust = Trust::read(&fs::read_to_string(file).expect("text")).expect("a trust file");
    let verified = verify(&[kept], Some(&trust)).expect("it can be read");
    assert_eq!((verified.runs, &verified.findings[..]), (2, &[][..]));
    assert_eq!((verified.chains[0].first, verified.chains[0].newest), (1, 2));
}

/// A part of the results shows what is in it and misses nothing else; whatever is named twice is looked at once.
#[test]
fn a_run_or_a_serial_number_can_be_looked_at_alone() {
    let (results, kept) = six();
    for path in [kept[3].home.clone(), results.path().join(&kept[3].seal.serial)] {
        let verified = verify(std::slice::from_ref(&path), None).expect("it can be read");
        assert_eq!((&verified.findings[..], verified.is_whole), (&[][..], false));
    }
    let both = [kept[3].home.clone(), results.path().to_owned(), kept[3].home.join(".")];
    assert_eq!(verify(&both, None).expect("it can be read").runs, 6);
    let copy = results.path().with_extension("copy");
    fs::rename(&kept[3].home, &copy).expect("it can be moved");
    let verified = verify(std::slice::from_ref(&copy), None).expect("it can be read");
    fs::remove_dir_all(&copy).expect("it can be removed");
    assert_eq!((verified.runs, &verified.findings[..]), (1, &[][..]));
    assert!(verify(&[copy], None).is_err());
}
