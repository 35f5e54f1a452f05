//! Seals as the shipped binary makes and verifies them.

#[path = "common/answered.rs"]
mod answered;
#[path = "common/sealed_bench.rs"]
mod sealed_bench;

use answered::{assert_says, said, told};
use sealed_bench::SealedBench;
use serde_json::Value;
use std::fs;
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// What a bench's key takes.
trait Keyed {
    fn trusted(&self, name: &str) -> String;
    fn trust_file(&self) -> PathBuf;
    fn key_file(&self) -> PathBuf;
}

impl Keyed for SealedBench {
    /// Makes the bench's key and trusts it; the line of the trust file.
    fn trusted(&self, name: &str) -> String {
        let output = self.done(&["key", "new", "--bench", name]);
        assert_says(&output, 0, &[]);
        fs::create_dir_all(self.results()).expect("it can be made");
        fs::write(self.trust_file(), &output.stdout).expect("it can be written");
        said(&output)
    }

    fn trust_file(&self) -> PathBuf {
        self.results().join("trusted-benches")
    }

    fn key_file(&self) -> PathBuf {
        self.folder.path().join("config/railproof/bench.key")
    }
}

#[test]
fn what_a_run_leaves_is_sealed_and_a_changed_byte_is_found() {
    let bench = SealedBench::new();
    let runs = [bench.run("SM-0001"), bench.run("SM-0002"), bench.run("SM-0001")];
    assert_says(&bench.done(&["verify"]), 0, &["3 runs, number 1 to 3", "3 runs: as they were sealed"]);
    let capture = runs[1].join("captures/run.capture");
    let mut bytes = fs::read(&capture).expect("it is there");
    bytes[1000] ^= 0x10;
    fs::write(&capture, bytes).expect("it can be written");
    let output = bench.done(&["verify", "--format", "json"]);
    assert_says(&output, 1, &[]);
    let answer: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let [finding] = &answer["findings"].as_array().expect("findings")[..] else { panic!("{answer}") };
    assert_eq!((&finding["kind"], &finding["path"]), (&"changed".into(), &capture.to_string_lossy().into()));
    // The other runs, alone, are as they were.
    assert_says(&bench.done(&["verify", runs[0].to_str().expect("plain")]), 0, &["1 run: as they were sealed"]);
}

#[test]
fn a_head_that_was_noted_shows_whether_the_newest_runs_are_still_there() {
    let bench = SealedBench::new();
    bench.run("SM-0001");
    let newest = bench.run("SM-0002");
    let answer: Value = serde_json::from_slice(&bench.done(&["verify", "--format", "json"]).stdout).expect("JSON");
    let head = answer["chains"][0]["head"].as_str().expect("a head").to_owned();
    assert_says(&bench.done(&["verify", "--expect-head", &head]), 0, &[&head]);
    fs::remove_dir_all(newest).expect("it can be removed");
    fs::remove_dir_all(bench.results().join(".chains")).expect("it can be removed");
    assert_says(&bench.done(&["verify"]), 0, &["1 run: as they were sealed"]);
    assert_says(&bench.done(&["verify", "--expect-head", &head]), 1, &["missing", &head, "not all that there were"]);
}

#[test]
fn where_there_is_no_record_nothing_is_proven() {
    let bench = SealedBench::new();
    assert_says(&bench.done(&["verify"]), 5, &["cannot be read"]);
    fs::create_dir_all(bench.results().join("SM-0001")).expect("it can be made");
    assert_says(&bench.done(&["verify"]), 5, &["there is no run in"]);
    assert_says(&bench.done(&["verify", "--expect-head", "3f2a"]), 2, &["a head has 64 digits"]);
    assert_says(&bench.done(&["verify", "/dev/null"]), 5, &["/dev/null: cannot be read"]);
}

#[test]
fn a_key_is_made_once_shown_without_its_secret_and_refused_when_others_can_read_it() {
    let bench = SealedBench::new();
    assert_says(&bench.done(&["key", "show"]), 5, &["`railproof key new` makes one"]);
    let line = bench.trusted("bench-3");
    assert!(line.starts_with("bench-3 namespaces=\"railproof-record\" ssh-ed25519 AAAA"), "{line}");
    assert_eq!(said(&bench.done(&["key", "show"])), line);
    assert_says(&bench.done(&["key", "new"]), 5, &["cannot be written", "File exists"]);
    assert_says(&bench.done(&["key", "new", "--bench", "bench 3", "--key", "other"]), 2, &["a bench's name has"]);
    let key = bench.key_file();
    assert_eq!(fs::metadata(&key).expect("it is there").permissions().mode() & 0o777, 0o600);
    fs::set_permissions(&key, fs::Permissions::from_mode(0o640)).expect("it is the test's own");
    assert_says(&bench.done(&["key", "show"]), 5, &["others than its owner", "chmod 600"]);
    // A run that could not be signed as it was meant to be is not begun.
    let run = ["run", "--serial", "SM-0001", "--unit", "fixtures/units/dunlin-600.yaml", "--jig"];
    let run = [&run[..], &["fixtures/jigs/simulated.yaml", "test-plans/quick.yaml"]].concat();
    assert_says(&bench.done(&run), 5, &["others than its owner"]);
    assert_says(&bench.done(&[&run[..], &["--key", "/nowhere"]].concat()), 5, &["/nowhere: this key cannot be read"]);
    assert!(!bench.results().join("SM-0001").exists());
}

#[test]
fn a_trusted_key_is_believed_a_retired_one_until_then_and_another_one_not() {
    let bench = SealedBench::new();
    let unsigned = bench.run("SM-0001");
    let line = bench.trusted("bench-3");
    let signed = bench.run("SM-0001");
    let key = "key SHA256:";
    let certificate = |run: &Path| fs::read_to_string(run.join("certificate.html")).expect("it conforms");
    assert!(certificate(&signed).contains(key) && certificate(&unsigned).contains("unsigned: it has no key"));

    assert_says(&bench.done(&["verify"]), 3, &["unsigned", &unsigned.to_string_lossy(), "not all are signed"]);
    let signed = signed.to_string_lossy().into_owned();
    assert_says(&bench.done(&["verify", &signed]), 0, &["signed with SHA256:", "with trusted keys"]);
    let retire = |time: &str| line.replace("namespaces", &format!("valid-before=\"{time}\",namespaces"));
    fs::write(bench.trust_file(), retire("20990101Z")).expect("it can be written");
    assert_says(&bench.done(&["verify", &signed]), 0, &[]);
    fs::write(bench.trust_file(), retire("20200101Z")).expect("it can be written");
    assert_says(&bench.done(&["verify", &signed]), 3, &["unknown key", "not valid when"]);
    fs::write(bench.trust_file(), "bench-3 ssh-ed25519 AAAA\n").expect("it can be written");
    assert_says(&bench.done(&["verify", &signed]), 5, &["trusted-benches:1: this is no ssh-ed25519 key"]);
    let empty = bench.folder.path().join("nobody");
    fs::write(&empty, "# nobody\n").expect("it can be written");
    let trust = empty.to_string_lossy().into_owned();
    assert_says(&bench.done(&["verify", "--trust", &trust, &signed]), 3, &["does not know"]);
}

/// `ssh-keygen`, where it is installed; `.ci/run` installs it.
fn ssh_keygen(words: &[&str], input: &[u8]) -> Option<Output> {
    let mut command = Command::new("ssh-keygen");
    command.args(words).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut running = match command.spawn() {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound && std::env::var_os("RAILPROOF_ALL").is_none() => {
            eprintln!("skipped: ssh-keygen is not installed");
            return None;
        }
        spawned => spawned.expect("it can be started"),
    };
    // It may end without having read.
    drop(running.stdin.take().expect("it is piped").write_all(input));
    Some(running.wait_with_output().expect("it ends"))
}

// Outside: SSHSIG signatures of ours checked, and a changed manifest and another purpose refused; how: package openssh-client (ssh-keygen -Y verify)
#[test]
fn ssh_keygen_verifies_what_a_bench_signed() {
    let bench = SealedBench::new();
    bench.trusted("bench-3");
    let run = bench.run("SM-0001");
    let manifest = fs::read(run.join("digests.sha256")).expect("it is there");
    let (trust, signature) = (bench.trust_file(), run.join("digests.sha256.sig"));
    let verify = |who: &str, purpose: &str, manifest: &[u8]| {
        let words = ["-Y", "verify", "-f", &trust.to_string_lossy(), "-I", who, "-n", purpose, "-s"];
        ssh_keygen(&[&words[..], &[&signature.to_string_lossy()]].concat(), manifest)
    };
    let Some(good) = verify("bench-3", "railproof-record", &manifest) else { return };
    assert!(good.status.success() && said(&good).contains("Good \"railproof-record\" signature"), "{}", told(&good));
    let changed = [&manifest[..], b"\n"].concat();
    for (who, purpose, manifest) in [
        ("bench-3", "railproof-record", &changed),
        ("bench-3", "file", &manifest),
        ("bench-4", "railproof-record", &manifest),
    ] {
        let output = verify(who, purpose, manifest).expect("it was there before");
        assert!(!output.status.success(), "{who} {purpose}");
    }
    // It reads our key file, and names the key as we do.
    let key = bench.key_file();
    let public = ssh_keygen(&["-y", "-f", &key.to_string_lossy()], b"").expect("it was there before");
    let line = said(&bench.done(&["key", "show"]));
    let base64 = line.split_whitespace().last().expect("a key").to_owned();
    assert!(said(&public).contains(&base64), "{} {}", said(&public), told(&public));
    let print = ssh_keygen(&["-l", "-f", &key.to_string_lossy()], b"").expect("it was there before");
    let named = said(&print).split_whitespace().nth(1).expect("a fingerprint").to_owned();
    assert_says(&bench.done(&["verify"]), 0, &[&named]);
}

// Outside: keys and SSHSIG signatures that are made elsewhere, read and checked by us; how: package openssh-client (ssh-keygen -t ed25519, -Y sign)
#[test]
fn what_ssh_keygen_made_and_signed_is_understood() {
    let bench = SealedBench::new();
    let key = bench.folder.path().join("theirs");
    let path = key.to_string_lossy().into_owned();
    let make = |kind: &str, passphrase: &str, path: &str| {
        ssh_keygen(&["-q", "-t", kind, "-N", passphrase, "-C", "bench-7", "-f", path], b"")
    };
    let Some(made) = make("ed25519", "", &path) else { return };
    assert!(made.status.success(), "{}", told(&made));
    let line = bench.done(&["key", "show", "--key", &path]);
    assert_says(&line, 0, &["bench-7 namespaces="]);
    let public = fs::read_to_string(key.with_extension("pub")).expect("it made one");
    assert!(said(&line).contains(public.split(' ').nth(1).expect("a key")), "{public}");
    let locked = bench.folder.path().join("locked").to_string_lossy().into_owned();
    assert!(make("ed25519", "words", &locked).expect("it was there before").status.success());
    assert_says(&bench.done(&["key", "show", "--key", &locked]), 5, &["has a passphrase"]);
    let other = bench.folder.path().join("other").to_string_lossy().into_owned();
    assert!(make("ecdsa", "", &other).expect("it was there before").status.success());
    assert_says(
        &bench.done(&["key", "show", "--key", &other]),
        5,
        &["ecdsa-sha2-nistp256", "a bench's is ssh-ed25519"],
    );

    // A run that we signed with their key, and that they signed again: either signature is the bench's.
    fs::rename(&key, bench.folder.path().join("bench.key")).expect("it can be moved");
    let moved = bench.folder.path().join("bench.key").to_string_lossy().into_owned();
    fs::create_dir_all(bench.results()).expect("it can be made");
    fs::write(bench.trust_file(), &line.stdout).expect("it can be written");
    fs::create_dir_all(bench.key_file().parent().expect("a folder")).expect("it can be made");
    fs::copy(&moved, bench.key_file()).expect("it can be copied");
    let run = bench.run("SM-0001");
    assert_says(&bench.done(&["verify"]), 0, &["with trusted keys"]);
    let signature = run.join("digests.sha256.sig");
    let ours = fs::read(&signature).expect("it is there");
    for hash in ["sha512", "sha256"] {
        fs::remove_file(&signature).expect("it can be removed");
        let manifest = run.join("digests.sha256").to_string_lossy().into_owned();
        let hash_option = format!("hashalg={hash}");
        let words = ["-Y", "sign", "-f", &moved, "-n", "railproof-record", "-O", &hash_option, &manifest];
        let output = ssh_keygen(&words, b"").expect("it was there before");
        assert!(output.status.success(), "{}", told(&output));
        let theirs = fs::read(&signature).expect("it made one");
        // Ed25519 leaves nothing to chance, so the same key gives the same file.
        assert_eq!(theirs == ours, hash == "sha512");
        assert_says(&bench.done(&["verify"]), 0, &["with trusted keys"]);
    }
}
