//! A logbook that is torn, shared, old and new.

use super::stored::{Entry, Note, Use};
use super::*;
use crate::record::stored::Verdict;

fn note(text: &str) -> Line {
    let entry = Entry::Note(Note { text: text.into(), by: None, renewed: vec!["contacts".into()] });
    Line { version: VERSION, time: "2026-11-28T06:00:00Z".into(), simulated: false, entry }
}

fn texts(contents: &Contents) -> Vec<String> {
    let text = |line: &Line| match &line.entry {
        Entry::Note(note) => note.text.clone(),
        other => format!("{other:?}"),
    };
    contents.lines.iter().map(text).collect()
}

#[test]
fn a_line_torn_at_any_byte_is_told_and_costs_itself_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let logbook = Logbook::of(folder.path(), "bench one").expect("a name");
    assert_eq!(logbook.read().expect("nothing there"), Contents::default());
    logbook.add(&note("first")).expect("it is written");
    let whole = fs::read(logbook.path()).expect("it is there");
    logbook.add(&note("second")).expect("it is written");
    let both = fs::read(logbook.path()).expect("it is there");
    for torn in whole.len()..=both.len() {
        fs::write(logbook.path(), &both[..torn]).expect("torn");
        logbook.add(&note("third")).expect("it is written behind");
        let read = logbook.read().expect("it can be read");
        // A line of which only its ending is missing says all that it had to.
        let says_all = torn >= both.len() - 1;
        let expected: &[&str] = if says_all { &["first", "second", "third"] } else { &["first", "third"] };
        assert_eq!(texts(&read), expected, "torn at {torn}");
        assert_eq!(read.passed_over.len(), usize::from(!says_all && torn > whole.len()), "torn at {torn}");
        assert!(read.passed_over.iter().all(|told| told.contains("logbook.jsonl:2: ") && told.contains("torn")));
    }
}

#[test]
fn garbage_and_lines_of_the_future_are_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let logbook = Logbook::of(folder.path(), "bench one").expect("a name");
    logbook.add(&note("first")).expect("it is written");
    let mut bytes = fs::read(logbook.path()).expect("it is there");
    bytes.extend(b"\xff\x00{\n{\"version\":99,\"time\":\"\",\"simulated\":false,\"dream\":{}}\n[]\n{\"version\":1}\n");
    fs::write(logbook.path(), bytes).expect("garbage");
    let read = logbook.read().expect("it can be read");
    assert_eq!((texts(&read).len(), read.passed_over.len()), (1, 4), "{:?}", read.passed_over);
    assert!(read.passed_over[1].contains("version 99"), "{:?}", read.passed_over);
}

#[test]
fn many_writers_lose_no_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let logbook = Logbook::of(folder.path(), "bench one").expect("a name");
    std::thread::scope(|scope| {
        for writer in 0..8 {
            let logbook = logbook.clone();
            scope.spawn(move || {
                for number in 0..25 {
                    logbook.add(&note(&format!("{writer} {number} {}", "x".repeat(5000)))).expect("it is written");
                }
            });
        }
    });
    let read = logbook.read().expect("it can be read");
    assert_eq!((read.lines.len(), read.passed_over), (200, Vec::new()));
}

#[test]
fn no_name_of_a_jig_leads_elsewhere_or_meets_another() {
    let names = ["bench one", "../up", "a/b", "a%2Fb", "a_b", ".", "..", ".hidden", "Größe 2", "a\0b", "a\u{202E}b"];
    let folders: std::collections::BTreeSet<String> = names.iter().map(|name| folder_name(name)).collect();
    assert_eq!(folders.len(), names.len());
    assert!(
        folders.iter().all(|name| !name.contains(['/', '\0', '\u{202E}']) && !name.starts_with('.')),
        "{folders:?}"
    );
    assert!(matches!(Logbook::of(Path::new("results"), &"x".repeat(300)), Err(LogbookError::Name)));
}

/// Written once and never changed: whatever comes later reads it.
#[test]
fn a_logbook_of_version_1_is_read_for_ever() {
    let folder = tempfile::tempdir().expect("a folder");
    let logbook = Logbook::of(folder.path(), "usb bench").expect("a name");
    fs::create_dir_all(logbook.path().parent().expect("a folder")).expect("made");
    fs::write(logbook.path(), include_str!("../../../tests/data/logbook-1.jsonl")).expect("copied");
    let read = logbook.read().expect("it can be read");
    assert_eq!((read.lines.len(), &read.passed_over[..]), (3, &[][..]));
    let cycles = [("press 1".to_owned(), 4), ("unit supply".to_owned(), 3)].into();
    let unit = Some("SM-0001".into());
    let run = "01930f4c-7b1e-7c3a-9d55-0242ac120002".into();
    assert_eq!(read.lines[0].entry, Entry::Use(Use { run, unit, runs: 1, cycles, traverses: 6, metres: 3.5 }));
    let note =
        Note { text: "changed the blade contacts".into(), by: Some("Wren".into()), renewed: vec!["contacts".into()] };
    assert_eq!(read.lines[1].entry, Entry::Note(note));
    let Entry::Check(check) = &read.lines[2].entry else { panic!("a check") };
    assert_eq!((check.reference_unit.as_deref(), check.decision), (Some("SM-0000"), Verdict::Conforms));
    let [volts, travel] = &check.values[..] else { panic!("two values") };
    assert_eq!((volts.value, volts.on.as_deref(), volts.unit.as_str()), (7.4131, None, "V"));
    assert_eq!((travel.on.as_deref(), travel.decision), (Some("SM-0000"), Verdict::Undecided));
}
