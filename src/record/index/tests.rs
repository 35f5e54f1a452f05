//! The index keeps what the folders have, whatever happens to it.

use super::*;
use crate::record::stored::Verdict;
use std::fs;
use tempfile::TempDir;

/// A folder of results with copies of a kept record under other serial numbers and run ids.
struct Kept(TempDir);

const RUN: &str = "0198f2a4-6c10-7d3e-9b51-000000000011";

impl Kept {
    fn new() -> Self {
        Self(TempDir::new().expect("a folder"))
    }

    fn path(&self) -> &Path {
        self.0.path()
    }

    /// Puts a record into its folder.
    fn record(&self, serial: &str, number: u32) -> PathBuf {
        self.changed(serial, number, |text| text)
    }

    fn changed(&self, serial: &str, number: u32, change: impl Fn(String) -> String) -> PathBuf {
        let text = fs::read_to_string("tests/data/records/conforms-2.json").expect("it is kept");
        let id = id(number);
        let text = text.replace(RUN, &id).replace("\"serial\": \"SM-0001\"", &format!("\"serial\": \"{serial}\""));
        let unit = self.path().join(serial);
        fs::create_dir_all(&unit).expect("it can be made");
        let folder = unit.join(&id);
        // A record appears whole.
        let staged = self.path().join(format!(".{id}"));
        fs::create_dir(&staged).expect("it can be made");
        fs::write(staged.join("record.json"), change(text)).expect("it can be written");
        fs::rename(&staged, &folder).expect("it can be moved");
        folder
    }

    fn index(&self) -> Index {
        Index::open(self.path()).expect("it opens")
    }
}

fn id(number: u32) -> String {
    format!("0198f2a4-6c10-7d3e-9b51-{number:012}")
}

fn ids(index: &mut Index, serial: &str) -> Vec<String> {
    index.runs_of(serial).expect("it answers").into_iter().map(|run| run.id).collect()
}

#[test]
fn a_record_is_known_as_it_stands() {
    let kept = Kept::new();
    kept.record("SM-0001", 1);
    let mut index = kept.index();
    let runs = index.runs_of("SM-0001").expect("it answers");
    let [run] = &runs[..] else { panic!("{runs:?}") };
    assert_eq!((run.id.as_str(), run.decision, run.is_simulated), (&*id(1), Verdict::Conforms, false));
    assert_eq!((run.plan.as_str(), run.revision, run.firmware.as_deref()), ("outgoing", 1, Some("1.4.0")));
    assert_eq!(run.operator.as_deref(), Some("Mira Løvås"));
    let parts: Vec<_> = run.parts.iter().map(|part| format!("{}={}", part.name, part.lot)).collect();
    assert_eq!(parts, ["belt=B-19", "motor=M-2607", "pack=P-0311"]);
    assert_eq!(run.started.to_string(), "2026-11-27 9:12:07.0 +00:00:00");
    assert!(index.told().is_empty() && index.is_kept());
}

#[test]
fn every_value_is_a_row() {
    let kept = Kept::new();
    kept.record("SM-0001", 1);
    let mut index = kept.index();
    index.count().expect("it counts");
    let read: crate::record::Record =
        serde_json::from_str(&fs::read_to_string("tests/data/records/conforms-2.json").expect("it is kept"))
            .expect("JSON");
    let requirements = read.checks.iter().flat_map(|check| &check.requirements);
    let stored: Vec<(f64, f64)> = requirements
        .flat_map(|requirement| &requirement.readings)
        .filter_map(|reading| reading.measured.as_ref())
        .map(|measured| (measured.value, measured.standard_uncertainty))
        .collect();
    let mut query = index.connection.prepare("SELECT value, u FROM value ORDER BY place").expect("SQL");
    let rows = query.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).expect("rows");
    let rows: Vec<(f64, f64)> = rows.collect::<Result<_, _>>().expect("numbers");
    assert_eq!(rows, stored);
    assert!(rows.len() > 100);
}

#[test]
fn what_is_new_is_taken_in_and_what_is_gone_is_forgotten_and_told() {
    let kept = Kept::new();
    kept.record("SM-0001", 1);
    let mut index = kept.index();
    assert_eq!(ids(&mut index, "SM-0001"), [id(1)]);
    let second = kept.record("SM-0001", 2);
    kept.record("SM-0002", 3);
    assert_eq!(ids(&mut index, "SM-0001"), [id(1), id(2)]);
    assert_eq!(index.count().expect("it counts"), 3);
    fs::remove_dir_all(second).expect("it can be removed");
    assert_eq!(ids(&mut index, "SM-0001"), [id(1)]);
    let told = index.told();
    assert!(told.len() == 1 && told[0].contains(&id(2)) && told[0].contains("its folder is gone"), "{told:?}");
    fs::remove_dir_all(kept.path().join("SM-0002")).expect("it can be removed");
    assert_eq!(index.count().expect("it counts"), 1);
    let values = "SELECT count(DISTINCT run) FROM value";
    assert_eq!(index.connection.query_one(values, [], |row| row.get::<_, i64>(0)).expect("a number"), 1);
}

/// A folder that was left alone is not listed again; one that was changed is, even one that was changed by a rename.
#[test]
fn a_settled_folder_is_listed_again_once_it_changes() {
    let kept = Kept::new();
    kept.record("SM-0001", 1);
    let home = kept.path().join("SM-0001");
    let long_ago = std::time::SystemTime::UNIX_EPOCH + Duration::from_secs(1_700_000_000);
    fs::File::open(&home).and_then(|home| home.set_modified(long_ago)).expect("it can be dated");
    let mut index = kept.index();
    assert_eq!(index.count().expect("it counts"), 1);
    let listed = |index: &Index| {
        let query = "SELECT listed FROM serial";
        index.connection.query_one(query, [], |row| row.get::<_, Option<i64>>(0)).expect("a serial number")
    };
    assert_eq!(listed(&index), Some(1_700_000_000_000_000_000));
    kept.record("SM-0003", 2);
    fs::rename(kept.path().join("SM-0003").join(id(2)), home.join(id(2))).expect("it can be moved");
    assert_eq!(index.count().expect("it counts"), 1);
    let told = index.told();
    assert!(told.len() == 1 && told[0].contains("in another one's folder"), "{told:?}");
}

#[test]
fn records_that_are_none_are_told_each_time_and_hide_no_other() {
    let kept = Kept::new();
    kept.record("SM-0001", 1);
    kept.changed("SM-0001", 2, |text| text[..text.len() / 2].to_owned());
    kept.changed("SM-0001", 3, |_| "\u{0}\u{1}{{{".into());
    kept.changed("SM-0001", 4, |text| text.replace("\"format\": 2", "\"format\": 9"));
    kept.changed("SM-0001", 5, |text| text.replace("2026-11-27T09:12:07Z", "yesterday"));
    kept.changed("SM-0001", 6, |text| text.replace(&id(6), &id(7)));
    kept.changed("SM-0001", 8, |_| "[".repeat(100_000));
    fs::create_dir_all(kept.path().join("SM-0001").join(id(9))).expect("it can be made");
    let pipe = kept.record("SM-0001", 10).join("record.json");
    fs::remove_file(&pipe).expect("it can be removed");
    rustix::fs::mknodat(rustix::fs::CWD, &pipe, rustix::fs::FileType::Fifo, rustix::fs::Mode::RWXU, 0).expect("a pipe");
    // Folders of others are nobody's record.
    fs::create_dir_all(kept.path().join("jigs/face")).expect("it can be made");
    fs::create_dir_all(kept.path().join("SM-0001/notes")).expect("it can be made");
    let mut index = kept.index();
    for _ in 0..2 {
        assert_eq!(index.count().expect("it counts"), 1);
        let told = index.told();
        assert_eq!(told.len(), 8, "{told:#?}");
        for why in
            ["it is of format 9", "`yesterday` is no date", "in another one's folder", "it is no file", "No such file"]
        {
            assert!(told.iter().any(|told| told.contains(why)), "{why}: {told:#?}");
        }
    }
}

#[test]
fn a_damaged_index_is_made_anew_and_told() {
    let kept = Kept::new();
    for number in 0..20 {
        kept.record("SM-0001", number);
    }
    let file = kept.path().join(FILE);
    let garbage: Vec<u8> = (0..300_000u32).map(|at| (at.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    let damages: [&dyn Fn(Vec<u8>) -> Vec<u8>; 4] = [
        &|_| garbage.clone(),
        // Behind the first page, so that it opens.
        &|whole| [&whole[..4096], &garbage[..whole.len() - 4096]].concat(),
        &|whole| whole[..whole.len() / 2].to_vec(),
        &|_| b"SQLite format 3\0".repeat(500),
    ];
    for (number, damage) in damages.iter().enumerate() {
        assert_eq!(kept.index().count().expect("it counts"), 20);
        let whole = fs::read(&file).expect("it is there");
        fs::write(&file, damage(whole)).expect("it can be written");
        let mut index = kept.index();
        assert_eq!(index.count().expect("it counts"), 20, "damage {number}");
        let told = index.told();
        assert!(told.iter().any(|told| told.contains("was damaged")), "damage {number}: {told:?}");
        assert!(index.is_kept(), "damage {number}");
    }
}

#[test]
fn an_index_of_another_version_is_made_anew_and_told() {
    let kept = Kept::new();
    kept.record("SM-0001", 1);
    drop(kept.index());
    let other = Connection::open(kept.path().join(FILE)).expect("it opens");
    other.execute_batch("DROP TABLE value; CREATE TABLE \"odd \"\" one\" (x); PRAGMA user_version = 77").expect("SQL");
    drop(other);
    let mut index = kept.index();
    assert_eq!(index.count().expect("it counts"), 1);
    assert!(index.told()[0].contains("of version 77"));
    assert!(kept.index().told().is_empty());
}

#[test]
fn an_index_that_cannot_be_kept_stands_in_memory() {
    let kept = Kept::new();
    kept.record("SM-0001", 1);
    // A folder in its place is refused to every user, root included.
    fs::create_dir(kept.path().join(FILE)).expect("it can be made");
    let mut index = kept.index();
    assert_eq!(ids(&mut index, "SM-0001"), [id(1)]);
    assert!(!index.is_kept() && index.told()[0].contains("the folders are read instead"));
    assert!(matches!(Index::open(&kept.path().join("nowhere")), Err(IndexError::NoFolder { .. })));
}

#[test]
fn a_rebuild_finds_the_same() {
    let kept = Kept::new();
    for number in 0..30 {
        kept.record(&format!("SM-000{}", number % 3), number);
    }
    let mut index = kept.index();
    let before = index.runs_of("SM-0002").expect("it answers");
    assert_eq!(before.len(), 10);
    assert_eq!(index.rebuild().expect("it is rebuilt"), 30);
    assert_eq!(index.runs_of("SM-0002").expect("it answers"), before);
}

/// Several at once, while new records appear and one of them makes the tables anew: nobody misses a record.
#[test]
fn many_use_it_at_once() {
    let kept = Kept::new();
    std::thread::scope(|scope| {
        for thread in 0..4u32 {
            let kept = &kept;
            scope.spawn(move || {
                let serial = format!("SM-000{thread}");
                let mut index = kept.index();
                for number in 0..10 {
                    kept.record(&serial, 100 * thread + number);
                    if thread == 0 && number == 5 {
                        index.rebuild().expect("it is rebuilt");
                    }
                    assert_eq!(ids(&mut index, &serial).len(), number as usize + 1);
                }
                assert_eq!(index.told(), Vec::<String>::new());
            });
        }
    });
    let mut index = kept.index();
    assert_eq!(index.count().expect("it counts"), 40);
    let values = "SELECT count(*), count(DISTINCT run) FROM value";
    let (values, runs) = index.connection.query_one(values, [], |row| Ok((row.get(0)?, row.get(1)?))).expect("numbers");
    assert_eq!((values, runs), (40 * 114, 40i64));
}
