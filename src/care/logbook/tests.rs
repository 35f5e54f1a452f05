//! A logbook's place, and its stored form for ever.

use super::stored::{Entry, Note, Use};
use super::*;
use crate::record::stored::Verdict;
use std::fs;

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
