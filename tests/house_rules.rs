//! The borders of the house, read from the sources: who may import whom, and what is deliberately absent where.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Rooms by floor; a room may use rooms of lower floors, and those of its own floor that are named with it.
const FLOORS: &[(&str, u8, &[&str])] = &[
    ("clock", 0, &[]),
    ("quantity", 0, &[]),
    ("stats", 0, &[]),
    ("written", 0, &[]),
    ("capture", 1, &[]),
    ("decide", 1, &[]),
    ("measure", 1, &["capture"]),
    ("port", 1, &[]),
    ("jig", 2, &[]),
    ("plan", 2, &[]),
    ("unit", 2, &[]),
    ("event", 3, &[]),
    ("record", 4, &[]),
    ("run", 4, &[]),
    ("sim", 4, &[]),
    ("care", 5, &[]),
    ("rehearsal", 5, &["study"]),
    ("report", 5, &["study"]),
    ("serve", 5, &["report"]),
    ("study", 5, &[]),
    ("cli", 6, &[]),
];

/// Rooms that are narrower than their floor: all that they may import of ours.
const NARROW: &[(&str, &[&str])] = &[
    ("decide", &["stats"]),
    ("measure", &["capture", "quantity", "stats"]),
    ("sim", &["capture", "clock", "jig", "port", "quantity"]),
    ("study", &["record", "event", "plan", "measure", "decide", "stats", "quantity"]),
    ("report", &["record", "event", "plan", "measure", "decide", "capture", "stats", "quantity", "study"]),
];

/// Rooms that touch no file, port or clock.
const PURE: &[&str] = &[
    "src/measure",
    "src/decide",
    "src/plan",
    "src/rehearsal",
    "src/report",
    "src/study",
    "src/unit",
    "src/stats",
    "src/quantity",
];

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("the sources are there").flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            found.push(path);
        }
    }
    found
}

/// A source without its unit tests and comments.
fn code(path: &Path) -> String {
    let text = fs::read_to_string(path).expect("a source can be read");
    let shipped = text.split("#[cfg(test)]\nmod").next().unwrap_or_default();
    shipped.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

/// The rooms that a piece of code imports: what follows `crate::`, alone or in braces.
fn imports(code: &str) -> BTreeSet<String> {
    let mut rooms = BTreeSet::new();
    for rest in code.split("crate::").skip(1) {
        if let Some(group) = rest.strip_prefix('{') {
            // `crate::{a::b, c}`: names at the first level of the braces.
            let (mut depth, mut name, mut fresh) = (0, String::new(), true);
            for character in group.chars() {
                match character {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => {
                        rooms.insert(std::mem::take(&mut name));
                        fresh = true;
                    }
                    c if depth == 0 && fresh && (c.is_alphanumeric() || c == '_') => name.push(c),
                    c if depth == 0 && !c.is_whitespace() => fresh = false,
                    _ => {}
                }
            }
            rooms.insert(name);
        } else {
            rooms.insert(rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
        }
    }
    rooms.remove("");
    rooms
}

fn room_of(path: &Path) -> String {
    let inside = path.strip_prefix("src").expect("a source lies in src");
    let first = inside.iter().next().expect("a source has a name").to_string_lossy();
    first.trim_end_matches(".rs").to_owned()
}

fn floor(room: &str) -> (u8, &'static [&'static str]) {
    let (_, floor, friends) = FLOORS
        .iter()
        .find(|(name, ..)| *name == room)
        .unwrap_or_else(|| panic!("the room `{room}` has no floor; give it one here and in DEVELOPERS.md"));
    (*floor, friends)
}

#[test]
fn rooms_import_only_from_floors_below() {
    let mut breaches = Vec::new();
    for path in sources(Path::new("src")) {
        let room = room_of(&path);
        if matches!(room.as_str(), "lib" | "main") {
            continue;
        }
        let (own_floor, friends) = floor(&room);
        for import in imports(&code(&path)) {
            if import == room {
                continue;
            }
            let (their_floor, _) = floor(&import);
            let narrow = NARROW.iter().find(|(name, _)| *name == room);
            let allowed = their_floor < own_floor || friends.contains(&import.as_str());
            if !allowed || narrow.is_some_and(|(_, may)| !may.contains(&import.as_str())) {
                breaches.push(format!("{} imports crate::{import}", path.display()));
            }
        }
    }
    assert!(breaches.is_empty(), "imports against the direction of the house:\n{}", breaches.join("\n"));
}

#[test]
fn pure_rooms_touch_no_file_port_or_clock() {
    let worldly =
        ["std::fs", "std::net", "std::process", "std::thread", "Instant", "SystemTime", "println!", "eprintln!"];
    let mut breaches = Vec::new();
    for path in sources(Path::new("src")) {
        if !PURE.iter().any(|folder| path.starts_with(folder)) {
            continue;
        }
        let code = code(&path);
        breaches
            .extend(worldly.iter().filter(|word| code.contains(**word)).map(|w| format!("{}: {w}", path.display())));
    }
    assert!(breaches.is_empty(), "pure rooms that look outside:\n{}", breaches.join("\n"));
}

#[test]
fn printing_and_anyhow_live_in_the_command_line_alone() {
    let mut breaches = Vec::new();
    for path in sources(Path::new("src")) {
        let room = room_of(&path);
        let code = code(&path);
        for word in ["println!", "print!(", "anyhow"] {
            if room != "cli" && room != "main" && code.contains(word) {
                breaches.push(format!("{}: {word}", path.display()));
            }
        }
    }
    assert!(breaches.is_empty(), "outside src/cli:\n{}", breaches.join("\n"));
}

#[test]
fn imports_are_found_in_every_form() {
    let code = "use crate::plan::Plan; use crate::{clock::{A, B}, port, unit::C}; crate::jig::x();";
    let found: Vec<_> = imports(code).into_iter().collect();
    assert_eq!(found, ["clock", "jig", "plan", "port", "unit"]);
}
