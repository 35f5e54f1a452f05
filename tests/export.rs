//! `railproof export` as a user meets it: what is exported is what the records say, in both forms, whole or not at all.

#[path = "common/shipped.rs"]
#[expect(dead_code, reason = "others look into a record")]
mod shipped;

use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::record::Field;
use railproof::record::Record;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;
use tempfile::TempDir;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

const TABLES: [&str; 5] = ["runs", "parts", "checks", "values", "step_histograms"];

/// A run, and two more of which only the record is there: a retest a month later, and one of another model. The records as
/// they are stored.
fn fleet() -> &'static (TempDir, Vec<Record>) {
    static FLEET: OnceLock<(TempDir, Vec<Record>)> = OnceLock::new();
    FLEET.get_or_init(|| {
        let results = TempDir::new().expect("a folder");
        let plan = "test-plans/quick.yaml";
        let mut run = shipped::run(plan, "fixtures/jigs/simulated.yaml", results.path(), "SM-0001");
        let fault = ["--fault", "dead-end-stop-right", "--part", "belt=L22,\"07", "--operator", "ML"];
        let output = run.args(fault).output().expect("the binary runs");
        let first: Value = serde_json::from_slice(&output.stdout).expect("the record is printed");
        let mut records = vec![first.clone()];
        for (serial, id, started, model) in [
            ("SM-0001", "ffffffff-6c10-7d3e-9b51-000000000001", "2027-12-31T23:59:59.999Z", "dunlin-600"),
            ("SM-0009", "ffffffff-6c10-7d3e-9b51-000000000002", "2028-01-01T01:00:00+02:00", "plover 400/2"),
        ] {
            let mut record = first.clone();
            (record["run"]["id"], record["run"]["started"]) = (json!(id), json!(started));
            (record["unit"]["serial"], record["unit"]["model"]) = (json!(serial), json!(model));
            record["unit"]["parts"] = json!([]);
            let folder = results.path().join(serial).join(id);
            fs::create_dir_all(&folder).expect("a folder");
            fs::write(folder.join("record.json"), record.to_string()).expect("it can be written");
            records.push(record);
        }
        (results, records.into_iter().map(|record| serde_json::from_value(record).expect("a record")).collect())
    })
}

fn export_of(results: &Path, into: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("railproof"));
    command.arg("export").arg("--results").arg(results).arg("--into").arg(into).args(more);
    command.output().expect("the binary runs")
}

fn export(into: &Path, more: &[&str]) -> Value {
    let output = export_of(fleet().0.path(), into, &[more, &["--format", "json"]].concat());
    assert_eq!((output.status.code(), told(&output).as_str()), (Some(0), ""), "{more:?}");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// All files below a folder, relative to it, in order.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut waiting = vec![folder.to_owned()];
    while let Some(below) = waiting.pop() {
        for path in fs::read_dir(below).expect("a folder").map(|entry| entry.expect("an entry").path()) {
            if path.is_dir() { waiting.push(path) } else { found.push(path.strip_prefix(folder).unwrap().to_owned()) }
        }
    }
    found.sort();
    found
}

/// The cells of a table's rows by column, as text, and the name of its folder for each.
type Rows = Vec<BTreeMap<String, Option<String>>>;

fn parquet_rows(into: &Path, table: &str) -> Rows {
    let mut rows = Vec::new();
    for file in files(&into.join(table)) {
        let reader =
            SerializedFileReader::new(File::open(into.join(table).join(file)).expect("a file")).expect("Parquet");
        let notes = reader.metadata().file_metadata().key_value_metadata().expect("notes").clone();
        assert!(notes.iter().any(|note| note.key == "railproof.table" && note.value.as_deref() == Some(table)));
        for row in reader.get_row_iter(None).expect("rows") {
            let row = row.expect("a row");
            let cells = row.get_column_iter().map(|(name, field)| {
                let text = match field {
                    Field::Null => None,
                    Field::Str(text) => Some(text.clone()),
                    Field::Long(number) => Some(number.to_string()),
                    Field::Double(number) => Some(number.to_string()),
                    Field::Bool(flag) => Some(flag.to_string()),
                    Field::TimestampMillis(ms) => Some(ms.to_string()),
                    other => panic!("{other:?}"),
                };
                (name.clone(), text)
            });
            rows.push(cells.collect());
        }
    }
    rows
}

fn csv_rows(into: &Path, table: &str) -> Rows {
    let mut rows = Vec::new();
    for file in files(&into.join(table)) {
        let text = fs::read_to_string(into.join(table).join(file)).expect("a table");
        let mut lines = text.split_terminator("\r\n").map(cells);
        let names: Vec<String> = lines.next().expect("names").into_iter().flatten().collect();
        rows.extend(lines.map(|cells| names.iter().cloned().zip(cells).collect()));
    }
    rows
}

/// The cells of a line; an empty one that is not quoted is none.
fn cells(line: &str) -> Vec<Option<String>> {
    let mut cells = vec![(String::new(), false)];
    let mut is_quoted = false;
    for character in line.replace("\"\"", "\u{1}").chars() {
        let (cell, was_quoted) = cells.last_mut().expect("one");
        match character {
            '"' => (is_quoted, *was_quoted) = (!is_quoted, true),
            ',' if !is_quoted => cells.push((String::new(), false)),
            '\u{1}' if is_quoted => cell.push('"'),
            '\u{1}' => *was_quoted = true,
            other => cell.push(other),
        }
    }
    cells.into_iter().map(|(cell, was_quoted)| (was_quoted || !cell.is_empty()).then_some(cell)).collect()
}

fn ms(text: &str) -> i64 {
    (OffsetDateTime::parse(text, &Rfc3339).expect("a moment").unix_timestamp_nanos() / 1_000_000) as i64
}

fn of<'r>(row: &'r BTreeMap<String, Option<String>>, column: &str) -> &'r str {
    row[column].as_deref().unwrap_or("null")
}

#[test]
fn the_values_are_those_of_the_records() {
    let into = TempDir::new().expect("a folder");
    let told = export(into.path(), &[]);
    let rows = parquet_rows(into.path(), "values");
    assert_eq!(told["rows"]["values"], rows.len());
    for record in &fleet().1 {
        let id = &record.run.id;
        let requirements =
            record.checks.iter().flat_map(|check| check.requirements.iter().map(move |one| (check, one)));
        let expected = requirements.flat_map(|(check, one)| {
            let of_reading = one.readings.iter().map(|reading| {
                let (value, doubt) = reading.measured.as_ref().map(|it| (it.value, it.standard_uncertainty)).unzip();
                (reading.label.clone(), reading.decision, value, doubt)
            });
            let none = one.readings.is_empty().then(|| (String::new(), one.decision, None, None));
            let readings: Vec<_> = of_reading.chain(none).collect();
            readings.into_iter().map(move |(label, decision, value, doubt)| {
                // The index knows no negative zero.
                let number = |number: Option<f64>| number.map_or("null".into(), |number| (number + 0.0).to_string());
                let decision = json!(decision).as_str().expect("a word").to_owned();
                let limits = format!("{} {}", number(one.lower), number(one.upper));
                let value = format!("{} {} {}", number(value), number(doubt), one.unit);
                format!(
                    "{} | {} | {label} | {value} | {} {limits} | {decision}",
                    check.name, one.measurand, one.tolerance
                )
            })
        });
        let expected: Vec<String> = expected.collect();
        let mut own: Vec<_> = rows.iter().filter(|row| of(row, "run") == id).collect();
        own.sort_by_key(|row| of(row, "place").parse::<u32>().expect("a place"));
        let found: Vec<String> = own
            .iter()
            .map(|row| {
                let value = ["value", "standard_uncertainty", "unit"].map(|column| of(row, column)).join(" ");
                let limits = ["tolerance", "lower_limit", "upper_limit"].map(|column| of(row, column)).join(" ");
                let what = ["check_name", "measurand", "reading"].map(|column| of(row, column)).join(" | ");
                format!("{what} | {value} | {limits} | {}", of(row, "decision"))
            })
            .collect();
        assert_eq!(found, expected);
        assert!(own.iter().all(|row| of(row, "simulated") == "true" && of(row, "serial") == record.unit.serial));
    }
}

#[test]
fn runs_checks_parts_and_steps_are_those_of_the_records() {
    let into = TempDir::new().expect("a folder");
    export(into.path(), &[]);
    let records = &fleet().1;
    let runs = parquet_rows(into.path(), "runs");
    let occasions = ["first", "retest", "first"];
    for (record, occasion) in records.iter().zip(occasions) {
        let run = runs.iter().find(|row| of(row, "run") == record.run.id).expect("it is there");
        assert_eq!((of(run, "occasion"), of(run, "model_name")), (occasion, &*record.unit.model));
        assert_eq!((of(run, "operator"), of(run, "plan")), ("ML", "quick"));
        assert_eq!((of(run, "decision"), of(run, "origin")), ("does not conform", "simulated"));
        assert_eq!(of(run, "started").parse(), Ok(ms(&record.run.started)));
    }
    let checks: usize = records.iter().map(|record| record.checks.len()).sum();
    assert_eq!((runs.len(), parquet_rows(into.path(), "checks").len()), (3, checks));
    let parts = parquet_rows(into.path(), "parts");
    assert_eq!((parts.len(), of(&parts[0], "part")), (1, "belt"));
    assert_eq!(of(&parts[0], "lot"), records[0].unit.parts[0].lot);

    let steps = parquet_rows(into.path(), "step_histograms");
    let clocks = records[0].checks.iter().flat_map(|check| &check.step_clock).flat_map(|clock| &clock.phases);
    let expected: u64 = clocks.filter_map(|phase| Some(phase.intervals.as_ref()?.count)).sum();
    let own = steps.iter().filter(|row| of(row, "run") == records[0].run.id);
    let number = |row: &BTreeMap<_, _>, column: &str| of(row, column).parse::<u64>().expect("a number");
    let counted: u64 = own.clone().map(|row| number(row, "intervals")).sum();
    assert!(expected > 100_000 && counted == expected, "{counted} of {expected} intervals");
    assert!(own.clone().all(|row| number(row, "interval_from_ns") <= number(row, "interval_to_ns")));
}

#[test]
fn both_forms_say_the_same() {
    let into = TempDir::new().expect("a folder");
    let (columns, texts) = (into.path().join("deeper/columns"), into.path().join("texts"));
    assert_eq!(export(&columns, &[])["rows"], export(&texts, &["--as", "csv"])["rows"]);
    for table in TABLES {
        let mut expected = csv_rows(&texts, table);
        for (name, cell) in expected.iter_mut().flatten().filter(|(name, _)| ["started", "ended"].contains(&&***name)) {
            *cell = Some(ms(cell.as_ref().unwrap_or_else(|| panic!("{name}"))).to_string());
        }
        assert_eq!(parquet_rows(&columns, table), expected, "{table}");
        assert!(!expected.is_empty(), "{table}");
    }
}

#[test]
fn an_export_again_replaces_what_was_asked_for_and_doubles_nothing() {
    let folder = TempDir::new().expect("a folder");
    let into = folder.path().join("fleet");
    let first = export(&into, &[]);
    let partitions = |into: &Path| -> Vec<String> {
        files(&into.join("runs")).iter().map(|file| file.parent().unwrap().display().to_string()).collect()
    };
    let started = ms(&fleet().1[0].run.started);
    let started = OffsetDateTime::from_unix_timestamp(started / 1000).expect("a moment");
    let now = format!("model=dunlin-600/year={}/month={}", started.year(), u8::from(started.month()));
    let others = ["model=dunlin-600/year=2027/month=12", "model=plover 400%2F2/year=2027/month=12"];
    assert_eq!(partitions(&into), [&now, others[0], others[1]]);
    let before = files(&into);

    let again = export(&into, &[]);
    assert_eq!((&again["rows"], &again["replaced"], &again["kept"]), (&first["rows"], &json!(3), &json!(0)));
    assert_eq!(files(&into), before);

    // A month of one model: the others stay, to the byte and in place.
    let kept = into.join("runs").join(others[1]).join("part-0.parquet");
    let bytes = fs::read(&kept).expect("it is there");
    let month = ["--from", "2027-12-01", "--to", "2027-12-31", "--model", "dunlin-600"];
    let again = export(&into, &month);
    assert_eq!((&again["rows"]["runs"], &again["replaced"], &again["kept"]), (&json!(1), &json!(1), &json!(2)));
    assert_eq!((files(&into), fs::read(&kept).expect("it is there")), (before.clone(), bytes));
    assert_eq!(parquet_rows(&into, "runs").len(), 3);

    // Nothing found replaces nothing.
    let output = export_of(fleet().0.path(), &into, &["--model", "dunlin-60"]);
    assert_eq!(output.status.code(), Some(0));
    assert!(told(&output).contains("did you mean `dunlin-600`?"), "{}", told(&output));
    assert_eq!(files(&into), before);
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1, "nothing is left beside it");
}

#[test]
fn what_is_no_such_export_is_left_alone() {
    let folder = TempDir::new().expect("a folder");
    let into = folder.path().join("fleet");
    let refused = |into: &Path, more: &[&str], says: &str| {
        let before = into.is_dir().then(|| files(into));
        let output = export_of(fleet().0.path(), into, more);
        assert_eq!((output.status.code(), output.stdout.len()), (Some(5), 0), "{}", told(&output));
        assert!(told(&output).contains(says), "{}", told(&output));
        assert_eq!(into.is_dir().then(|| files(into)), before);
    };
    fs::create_dir(&into).expect("a folder");
    fs::write(into.join("thesis.txt"), "three years").expect("it can be written");
    refused(&into, &[], "is no export of railproof");
    fs::remove_file(into.join("thesis.txt")).expect("it is there");
    export(&into, &[]);
    refused(&into, &["--as", "csv"], "all runs as csv");
    refused(&into, &["--plan", "quick"], "runs of plan `quick` as parquet");
    fs::write(into.join("runs/notes.txt"), "mine").expect("it can be written");
    refused(&into, &[], "runs/notes.txt is of no export");
    fs::remove_file(into.join("runs/notes.txt")).expect("it is there");
    let list = fs::read_to_string(into.join("export.json")).expect("a list");
    fs::write(into.join("export.json"), list.replace("\"format\": 1", "\"format\": 2")).expect("it can be written");
    refused(&into, &[], "an export of format 2");
    refused(&fleet().0.path().join("fleet"), &[], "lies in the folder of the records");
    let file = folder.path().join("file");
    fs::write(&file, "mine").expect("it can be written");
    refused(&file, &[], "is no export of railproof");
    // A folder that only seems to be a dead export's.
    fs::create_dir_all(folder.path().join(".fleet-2.part/thesis")).expect("a folder");
    refused(&folder.path().join("fleet-2"), &[], "thesis is of no export");
}

/// A disk that takes no more, and an export that is killed: what was there before is there still.
#[test]
fn a_full_disk_leaves_what_was_there() {
    let folder = TempDir::new().expect("a folder");
    let (into, results) = (folder.path().join("fleet"), folder.path().join("results"));
    let run = Path::new("SM-0009/ffffffff-6c10-7d3e-9b51-000000000002");
    fs::create_dir_all(results.join(run)).expect("a folder");
    let record = run.join("record.json");
    fs::copy(fleet().0.path().join(&record), results.join(&record)).expect("it is there");
    // The index would be too long for the limit, too: it has to stand in memory.
    fs::create_dir(results.join(".index.sqlite")).expect("a folder");
    assert_eq!(export_of(&results, &into, &[]).status.code(), Some(0));
    let before: Vec<_> =
        files(&into).into_iter().map(|file| (fs::read(into.join(&file)).expect("a file"), file)).collect();
    for (signal, says) in [("trap '' XFSZ; ", Some("nothing was exported")), ("", None)] {
        let output = Command::new("sh")
            .args(["-c", &format!("{signal}ulimit -f 8; exec \"$0\" \"$@\"")])
            .arg(assert_cmd::cargo::cargo_bin!("railproof"))
            .args(["export", "--as", "parquet", "--results"])
            .args([&results, Path::new("--into"), &into])
            .output()
            .expect("sh runs");
        assert_eq!(output.status.code(), says.map(|_| 5), "{}", told(&output));
        assert!(told(&output).contains(says.unwrap_or_default()), "{}", told(&output));
        let after: Vec<_> =
            files(&into).into_iter().map(|file| (fs::read(into.join(&file)).expect("a file"), file)).collect();
        assert!(before == after);
        assert_eq!(folder.path().join(".fleet.part").exists(), says.is_none());
    }
    assert_eq!(export_of(&results, &into, &[]).status.code(), Some(0));
    assert!(!folder.path().join(".fleet.part").exists(), "what the killed one left");
}

/// Its description is a file of its own, and is made of the columns themselves.
#[test]
fn the_tables_are_described() {
    let head = format!(
        "# Tables of `railproof export`, format {}\n\nEach table is a folder; below it `model=…/year=…/month=…/` hold its \
         files, which engines read as three columns more. Months are those in which runs began, in UTC. `export.json` lists \
         the files. A moment has milliseconds; in CSV it is written as RFC 3339 has it, a null as nothing, and an empty text \
         as `\"\"`. Every table begins with the same four columns.\n\n",
        railproof::record::export::FORMAT
    );
    let path = shipped::project("fixtures/schema/export-1.md");
    expect_test::expect_file![path].assert_eq(&(head + &railproof::record::export::description()));
}
