//! The list of checks against something outside the project, `tests/EXTERNAL.md`, is what stands beside the checks.
//!
//! Each such check has a line `Outside: SOURCE; how: HOW` above it. The list is made of these lines, so it can neither
//! forget a check nor keep one that is gone. `UPDATE_EXPECT=1 cargo test --test external_list` writes it anew.

use expect_test::expect_file;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

/// So many checks there have to be at least.
const CHECKS_MIN: usize = 60;
/// The ways in which an outside value is had; a way may be followed by a name or a remark.
const WAYS: [&str; 6] =
    ["published text", "package", "data set", "closed form", "common practice, no source", "from memory"];

/// One check.
struct Row {
    id: String,
    source: String,
    how: String,
    file: String,
}

fn files(below: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(below).expect("a folder").map(|entry| entry.expect("an entry").path()) {
        if entry.is_dir() {
            files(&entry, found);
        } else if entry
            .extension()
            .is_some_and(|kind| ["rs", "py", "sh", "c", "mjs"].iter().any(|known| kind == *known))
        {
            found.push(entry);
        }
    }
}

/// The name of the function that a line begins.
fn function(line: &str) -> Option<&str> {
    let line = line.trim_start().trim_start_matches("pub ").trim_start_matches("async ");
    let name = ["fn ", "def ", "function "].iter().find_map(|begin| line.strip_prefix(begin))?;
    Some(name.split(['(', '<']).next().unwrap_or(name).trim())
}

/// The function that a check at this line belongs to: the next one if nothing but comments and attributes lies between,
/// else the one that it stands in, else none.
fn owner<'a>(lines: &[&'a str], at: usize) -> Option<&'a str> {
    let is_passed = |line: &str| line.is_empty() || ["//", "#", "@"].iter().any(|begin| line.starts_with(begin));
    let next = lines[at..].iter().find(|line| !is_passed(line.trim_start()))?;
    function(next).or_else(|| lines[..at].iter().rev().find_map(|line| function(line)))
}

fn rows(root: &Path) -> Vec<Row> {
    let mut found = Vec::new();
    for folder in ["src", "tests"] {
        files(&root.join(folder), &mut found);
    }
    found.sort();
    let mut rows = Vec::new();
    let mut used: BTreeMap<String, u32> = BTreeMap::new();
    for path in found.iter().filter(|path| !path.ends_with("tests/external_list.rs")) {
        let text = fs::read_to_string(path).expect("text");
        let lines: Vec<&str> = text.lines().collect();
        let file = path.strip_prefix(root).expect("below the root").display().to_string();
        for (at, line) in lines.iter().enumerate() {
            let comment = line.trim_start().trim_start_matches(['/', '#', '!']);
            let Some(said) = comment.strip_prefix(" Outside: ") else { continue };
            let (source, how) = said.split_once("; how: ").unwrap_or_else(|| panic!("{file}:{}: no `; how: `", at + 1));
            assert!(WAYS.iter().any(|way| how.starts_with(way)), "{file}:{}: `{how}` is none of {WAYS:?}", at + 1);
            let stem = path.file_stem().expect("a name").to_string_lossy().into_owned();
            let name = owner(&lines, at).map_or(stem, str::to_owned).replace('_', "-");
            let count = used.entry(name.clone()).or_default();
            *count += 1;
            let id = if *count == 1 { name } else { format!("{name}-{count}") };
            rows.push(Row { id, source: source.into(), how: how.into(), file: file.clone() });
        }
    }
    rows
}

#[test]
fn the_list_is_what_stands_beside_the_checks() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let rows = rows(root);
    assert!(rows.len() >= CHECKS_MIN, "only {} checks", rows.len());
    let mut list = format!(
        "# Checks against something outside the project\n\n\
         {} checks compare railproof with published standards, handbook examples, data sets and other programs. The list is\n\
         made of the lines that stand beside them; `UPDATE_EXPECT=1 cargo test --test external_list` writes it anew. What is\n\
         `from memory` was not read in the source itself.\n\n\
         | check | source | how obtained | file |\n| --- | --- | --- | --- |\n",
        rows.len()
    );
    for row in rows {
        writeln!(list, "| {} | {} | {} | `{}` |", row.id, row.source, row.how, row.file).expect("into memory");
    }
    expect_file!["EXTERNAL.md"].assert_eq(&list);
}
