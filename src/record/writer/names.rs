//! Names that become folders and files: a serial number is typed or scanned, and must not lead anywhere else.

use super::super::seal::{DIGESTS, SEAL, SIGNATURE};
use super::WriteError;
use std::path::{Component, Path};

/// Longest serial number, bytes: names of 255 bytes are common practice, and a part's name is longer than its serial's.
const SERIAL_MAX: usize = 100;
/// What no folder's name may hold on one of the systems that a results folder is copied to (common practice, no source).
const FORBIDDEN: &str = "/\\:*?\"<>|";

/// Whether a serial number can be a folder's name, so that this is known before anything moves.
///
/// # Errors
/// What is wrong with it.
pub fn check_serial(serial: &str) -> Result<(), WriteError> {
    let why = if serial.is_empty() {
        "it is empty".into()
    } else if serial.len() > SERIAL_MAX {
        format!("it is longer than {SERIAL_MAX} bytes")
    } else if serial.starts_with('.') {
        "it begins with a dot".into()
    } else if serial.trim() != serial || serial.ends_with('.') {
        "it begins or ends with a space, or ends with a dot".into()
    } else if let Some(bad) = serial.chars().find(|character| !is_plain(*character)) {
        format!("it holds {}", shown(bad))
    } else {
        return Ok(());
    };
    Err(WriteError::Serial { serial: serial.chars().take(SERIAL_MAX).map(seen).collect(), why })
}

/// Whether a run id is one: hexadecimal digits and hyphens.
pub fn check_run_id(id: &str) -> Result<(), WriteError> {
    let is_right = (1..=64).contains(&id.len())
        && id.bytes().all(|byte| byte.is_ascii_hexdigit() || byte == b'-')
        && !id.starts_with('-');
    if is_right { Ok(()) } else { Err(WriteError::RunId { id: id.chars().take(64).map(seen).collect() }) }
}

/// Whether a file of this name can be put into a run's folder: it stays inside, and is none of the seal's own.
pub fn check_file(name: &str) -> Result<(), WriteError> {
    let is_right = is_inside(name) && ![DIGESTS, SEAL, SIGNATURE].contains(&name);
    if is_right { Ok(()) } else { Err(WriteError::Name { name: name.chars().take(200).map(seen).collect() }) }
}

/// Whether a name stays inside the run's folder and can stand in a file of digests.
pub fn is_inside(name: &str) -> bool {
    let is_inside = Path::new(name).components().all(|part| matches!(part, Component::Normal(_)));
    let parts_are_plain = name.split('/').all(|part| {
        !part.is_empty() && part.len() <= 200 && !part.starts_with(['.', '-']) && part.chars().all(is_plain)
    });
    is_inside && parts_are_plain
}

fn is_plain(character: char) -> bool {
    !character.is_control() && !FORBIDDEN.contains(character) && !directs(character)
}

/// Whether a character turns the direction of its neighbours or is not seen at all, so that two serial numbers that look
/// alike would differ.
fn directs(character: char) -> bool {
    matches!(u32::from(character), 0xAD | 0x61C | 0x200B..=0x200F | 0x2028..=0x202E | 0x2060..=0x206F | 0xFEFF)
}

fn shown(character: char) -> String {
    if character.is_control() || directs(character) {
        format!("the unseen character U+{:04X}", u32::from(character))
    } else {
        format!("`{character}`")
    }
}

fn seen(character: char) -> char {
    if character.is_control() || directs(character) { '\u{FFFD}' } else { character }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn honest_serial_numbers_pass() {
        for serial in ["SM-0001", "0x21", "A 12/3".replace('/', "_").as_str(), "Nr.7", "№ 12", "--", "a..b"] {
            assert!(check_serial(serial).is_ok(), "{serial}");
        }
    }

    #[test]
    fn serial_numbers_that_lead_elsewhere_are_refused() {
        let long = "x".repeat(101);
        for serial in [
            "",
            ".",
            "..",
            "../up",
            "a/b",
            "a\\b",
            "/etc",
            ".hidden",
            " a",
            "a ",
            "a.",
            "a\0b",
            "a\nb",
            "a\u{202E}b",
            "c:",
            &long,
        ] {
            assert!(matches!(check_serial(serial), Err(WriteError::Serial { .. })), "{serial:?}");
        }
    }

    #[test]
    fn files_stay_inside_the_folder() {
        for name in ["record.json", "captures/link.jsonl", "plan.yaml"] {
            assert!(check_file(name).is_ok(), "{name}");
        }
        for name in
            ["", "/etc/passwd", "../x", "a/../b", "a//b", "a/", ".part", "a\nb", "digests.sha256", "seal.json", "-rf"]
        {
            assert!(check_file(name).is_err(), "{name:?}");
        }
    }
}
