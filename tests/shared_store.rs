//! The store that benches share, on a real PostgreSQL.

#[path = "common/answered.rs"]
mod answered;
#[path = "common/postgres.rs"]
mod postgres_server;

use answered::{assert_says, said, told};
use postgres_server::sealed_bench::SealedBench;
use postgres_server::{OWNER, Server, Shared};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

fn json(output: &Output) -> Value {
    assert_eq!(output.status.code(), Some(0), "{}", told(output));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

/// A run's id.
fn id(folder: &Path) -> &str {
    folder.file_name().and_then(|name| name.to_str()).expect("an id")
}

/// Every file of a folder.
fn files(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut found = BTreeMap::new();
    for entry in fs::read_dir(folder).expect("it is there").flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(
                files(&path).into_iter().map(|(name, bytes)| (Path::new(&entry.file_name()).join(name), bytes)),
            );
        } else {
            found.insert(entry.file_name().into(), fs::read(&path).expect("it can be read"));
        }
    }
    found
}

#[test]
fn the_store_answers_as_the_folder_does_and_gives_back_every_byte() {
    let Some(shared) = Shared::new(&["bench-1", "bench-2"]) else { return };
    let (one, two) = (SealedBench::new(), SealedBench::new());
    let with_part = one.quick("SM-0001").args(["--part", "belt=L2207", "--operator", "AB"]).output();
    let first = one.folder_named(&with_part.expect("the binary runs")).expect("it names its folder");
    let second = one.run("SM-0001");
    let failed = one.quick("SM-0002").args(["--fault", "dead-end-stop-right"]).output().expect("the binary runs");
    assert_eq!(failed.status.code(), Some(1), "{}", told(&failed));
    assert_says(&one.done(&["dispatch", "SM-0001", "--because", "simulated"]), 0, &[]);
    let address = shared.address("bench-1");
    assert_says(&one.done(&["sync", "--to", &address]), 0, &["3 runs brought", "0 there already", "1 brought"]);
    assert_says(&one.done(&["sync", "--to", &address]), 0, &["0 runs brought", "3 there already"]);

    for words in [
        &["history", "SM-0001", "--format", "json"][..],
        &["history", "SM-0001"],
        &["history", "SM-0002", "--format", "json"],
        &["find", "--format", "csv"],
        &["find", "--value", "cruise speed at least 10 mm/s", "--part", "belt=L2207", "--format", "csv"],
        &["find", "--decision", "does-not-conform", "--format", "json"],
        &["find", "--check", "both ways at top speed", "--format", "json"],
        &[
            "find",
            "--bench",
            "simulated",
            "--from",
            "2020-01-01",
            "--to",
            "2099-01-01",
            "--operator",
            "AB",
            "--format",
            "json",
        ],
        &["find", "--model", "dunlin-60"],
        &["recall", "--part", "belt=L2207", "--format", "json"],
        &["recall", "--part", "belt=L2208"],
        &["capability", "plan=quick", "--format", "json"],
    ] {
        let (here, there) = (one.done(words), one.done(&[words, &["--store", &address]].concat()));
        assert_eq!(
            (said(&here), here.status.code()),
            (said(&there), there.status.code()),
            "{words:?}: {}",
            told(&there)
        );
        assert_eq!(told(&here), told(&there), "{words:?}");
    }
    assert_says(
        &one.done(&["history", "SM-0003", "--store", &address]),
        0,
        &["in the store at", "did you mean SM-0001?"],
    );

    let claimed = |store: &[&str]| {
        one.done(&[&["claim", "SM-0001", "--against", id(&first), "--run", id(&second)], store].concat())
    };
    let (here, there) = (claimed(&[]), claimed(&["--store", &address]));
    assert_eq!((said(&here), here.status.code(), told(&here)), (said(&there), there.status.code(), told(&there)));
    assert!(said(&here).contains("E_n"), "{}", told(&here));

    // Elsewhere: the record of a unit that was tested at the other bench, without its captures.
    let elsewhere = shared.address("bench-2");
    let fetched = two.done(&["fetch", "SM-0001", "--from", &elsewhere]);
    assert_says(&fetched, 0, &["2 runs fetched and verified", "2 captures stayed at the bench", "1 note of"]);
    let there = two.results().join("SM-0001").join(id(&first));
    let (mut sent, came) = (files(&first), files(&there));
    assert!(sent.remove(Path::new("captures/run.capture")).is_some_and(|bytes| !bytes.is_empty()));
    assert_eq!(sent, came);
    assert_says(
        &two.done(&["fetch", "SM-0001", "--from", &elsewhere]),
        0,
        &["0 runs fetched", "2 here already", "0 notes"],
    );
    assert_eq!(
        json(&two.done(&["history", "SM-0001", "--format", "json"])),
        json(&one.done(&["history", "SM-0001", "--format", "json"]))
    );
    // It is no part of the chain here: the next run begins one, and nothing is missed.
    two.run("SM-0001");
    two.run("SM-0001");
    let verified = json(&two.done(&["verify", "--format", "json"]));
    assert_eq!(verified["chains"].as_array().map(Vec::len), Some(2), "{verified}");
    assert_eq!(verified["chains"].as_array().expect("a list").iter().filter(|chain| chain["first"] == 1).count(), 2);
    assert_says(&two.done(&["sync", "--to", &elsewhere]), 0, &["2 runs brought", "2 there already"]);

    // Captures follow where they are asked for.
    assert_says(
        &one.done(&["sync", "--to", &address, "--captures"]),
        0,
        &["0 runs brought", "3 captures of earlier ones"],
    );
    let three = SealedBench::new();
    assert_says(
        &three.done(&["fetch", "SM-0001", "SM-0002", "--from", &elsewhere]),
        0,
        &["4 runs fetched", "1 run fetched"],
    );
    let again = three.results().join("SM-0001").join(id(&first));
    assert_eq!(files(&first), files(&again));
    assert_says(&three.done(&["verify"]), 0, &["5 runs: as they were sealed"]);
}

#[test]
fn what_does_not_stand_up_never_gets_in_and_what_is_in_is_never_changed() {
    let Some(shared) = Shared::new(&["bench-1"]) else { return };
    let bench = SealedBench::new();
    let runs = [bench.run("SM-0001"), bench.run("SM-0002")];
    let address = shared.address("bench-1");
    let report = runs[1].join("junit.xml");
    let sound = fs::read(&report).expect("it is there");
    fs::write(&report, [&sound[..], b" "].concat()).expect("it can be written");
    let refused = bench.done(&["sync", "--to", &address]);
    assert_says(&refused, 1, &["refused", &runs[1].to_string_lossy(), "changed: junit.xml", "1 run brought"]);
    assert_eq!((shared.count("run"), shared.count("seal")), (1, 1));
    fs::write(&report, &sound).expect("it can be written");
    assert_says(&bench.done(&["sync", "--to", &address]), 0, &["1 run brought", "1 there already"]);

    // A run that is there under its id stays as it is, whatever comes later.
    let manifest = runs[0].join("digests.sha256");
    let listed = fs::read(&manifest).expect("it is there");
    fs::write(&manifest, &listed[66..]).expect("it can be written");
    assert_says(&bench.done(&["sync", "--to", &address]), 1, &["another run of this id"]);
    fs::write(&manifest, &listed).expect("it can be written");

    let mut login = shared.client("bench-1");
    let tables = "SELECT table_name::text FROM information_schema.tables WHERE table_schema = 'railproof'";
    let tables: Vec<String> =
        shared.client(OWNER).query(tables, &[]).expect("it answers").iter().map(|row| row.get(0)).collect();
    assert_eq!(tables.len(), 14, "{tables:?}");
    for table in tables {
        let column: String = shared
            .client(OWNER)
            .query_one("SELECT column_name::text FROM information_schema.columns WHERE table_schema = 'railproof' AND table_name = $1 AND is_identity = 'NO' LIMIT 1", &[&table])
            .expect("it has one")
            .get(0);
        for statement in [
            format!("DELETE FROM {table}"),
            format!("UPDATE {table} SET {column} = {column}"),
            format!("TRUNCATE {table} CASCADE"),
            format!("DROP TABLE {table} CASCADE"),
            format!("ALTER TABLE {table} ADD COLUMN more TEXT"),
        ] {
            let refused = login.batch_execute(&statement).expect_err(&statement);
            assert_eq!(
                refused.code(),
                Some(&postgres::error::SqlState::INSUFFICIENT_PRIVILEGE),
                "{statement}: {refused:?}"
            );
        }
    }
    // Nor does the database take a content under another one's digest.
    let false_content = "INSERT INTO content (sha256, bytes) VALUES (repeat('0', 64), 'false')";
    let refused = login.batch_execute(false_content).expect_err("a false digest");
    assert_eq!(refused.code(), Some(&postgres::error::SqlState::CHECK_VIOLATION));

    // What was changed in the database all the same does not come out of it as a record.
    let change =
        "ALTER TABLE content DROP CONSTRAINT content_check; UPDATE content SET bytes = content.bytes || '\\x20'
         FROM file WHERE file.sha256 = content.sha256 AND file.name = 'junit.xml'";
    shared.client(OWNER).batch_execute(change).expect("who owns it can");
    let other = SealedBench::new();
    assert_says(
        &other.done(&["fetch", "SM-0001", "--from", &address]),
        1,
        &["refused", "changed: junit.xml", "not kept"],
    );
    assert_eq!(fs::read_dir(other.results().join("SM-0001")).expect("it is there").count(), 0);
}

#[test]
fn versions_rights_and_secrets_are_told_and_no_secret_is() {
    let Some(server) = Server::start() else { return };
    server.client(OWNER, "postgres").batch_execute("CREATE DATABASE shared").expect("it can be made");
    let owner = server.address(OWNER, "shared");
    let bench = SealedBench::new();
    bench.run("SM-0001");
    assert_says(&bench.done(&["sync", "--to", &owner]), 5, &["no tables yet", "railproof sync --prepare"]);
    assert_says(&bench.done(&["sync", "--to", &owner, "--prepare"]), 0, &["now has tables of version 1"]);
    assert_says(&bench.done(&["sync", "--to", &owner, "--prepare", "--format", "json"]), 0, &["\"before\": 1"]);

    let mut client = server.client(OWNER, "shared");
    client.batch_execute("CREATE ROLE stranger LOGIN; CREATE ROLE \"bench-4\" LOGIN PASSWORD 'hush-4'; GRANT railproof_bench TO \"bench-4\"").expect("it can be made");
    let stranger = bench.done(&["sync", "--to", &server.address("stranger", "shared")]);
    assert_says(&stranger, 5, &["permission denied", "GRANT railproof_bench TO"]);

    let rules = server.data().join("pg_hba.conf");
    let usual = fs::read_to_string(&rules).expect("it is there");
    fs::write(&rules, format!("local all bench-4 scram-sha-256\n{usual}")).expect("it can be written");
    server.control(&["reload"]);
    let address = server.address("bench-4", "shared");
    let with = |variable: &str, value: &str| {
        let mut command = bench.railproof(&["sync", "--to", &address]);
        command.env("HOME", bench.folder.path()).env(variable, value).output().expect("the binary runs")
    };
    assert_says(&with("PGPASSWORD", "hush-5"), 5, &["password authentication failed", "PGPASSWORD or in ~/.pgpass"]);
    assert!(!told(&with("PGPASSWORD", "hush-5")).contains("hush"));
    assert_says(&with("PGPASSWORD", "hush-4"), 0, &["1 run brought"]);
    let shared = format!("{address}&password=hush-4");
    let from_variable = |value: &str| {
        let mut command = bench.railproof(&["history", "SM-0001", "--shared"]);
        command.env("HOME", bench.folder.path()).env("RAILPROOF_STORE", value).output().expect("the binary runs")
    };
    assert_says(&from_variable(&shared), 0, &["SM-0001"]);
    assert_says(&from_variable(""), 2, &["RAILPROOF_STORE"]);
    let typed = bench.done(&["sync", "--to", &shared]);
    assert_says(&typed, 2, &["password on the command line", "PGPASSWORD"]);
    assert!(!told(&typed).contains("hush"), "{}", told(&typed));

    client.batch_execute("INSERT INTO railproof.version (version) VALUES (2)").expect("it can be added");
    for words in [&["sync", "--to", &owner][..], &["sync", "--prepare", "--to", &owner], &["find", "--store", &owner]] {
        assert_says(&bench.done(words), 5, &["tables of version 2", "install the newer railproof"]);
    }
    server.control(&["stop", "-m", "fast"]);
    assert_says(&bench.done(&["find", "--store", &owner]), 4, &["cannot be reached"]);
    assert_says(&bench.done(&["find", "--store", "postgres://b@store.example/s"]), 2, &["ssh -N -L"]);
    server.control(&["start"]);
}
