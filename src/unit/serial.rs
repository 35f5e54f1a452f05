//! Serial numbers of a model: what they look like, and the check character that shows a mistyped or misread one.
//!
//! A number that does not fit is refused and never put right: which of its characters is wrong, the check character cannot say.

use super::check_character::{System, is_counted};
use regex::Regex;

/// The group of the pattern that the check character covers, where it is not the whole number.
pub const COVERED: &str = "checked";

/// Serial numbers of a model.
#[derive(Debug, Clone)]
pub struct SerialNumbers {
    /// Matches the whole number.
    pattern: Regex,
    check: Option<System>,
}

impl SerialNumbers {
    /// Numbers that look so, with a check character where a system is given.
    pub fn new(pattern: Regex, check: Option<System>) -> Self {
        Self { pattern, check }
    }

    /// Whether it is a serial number.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn check(&self, serial: &str) -> Result<(), String> {
        let Some(found) = self.pattern.captures(serial) else {
            return Err(format!("the unit file wants {}", self.pattern));
        };
        let Some(system) = self.check else { return Ok(()) };
        let range = found.name(COVERED).map_or(0..serial.len(), |covered| covered.range());
        let covered = &serial[range.clone()];
        let name = system.name;
        match system.fits(covered) {
            Ok(true) => Ok(()),
            Ok(false) => {
                let swapped = swapped(&system, covered).map(|covered| {
                    let whole = format!("{}{covered}{}", &serial[..range.start], &serial[range.end..]);
                    format!("; with two neighbours swapped it would be `{whole}`")
                });
                Err(format!(
                    "its check character does not fit (ISO/IEC 7064, {name}), so a character is wrong or two are swapped{}; \
                     read the label again",
                    swapped.unwrap_or_default()
                ))
            }
            Err(odd) => Err(format!("`{odd}` has no place in a number with the check character {name}")),
        }
    }

    /// The number with the check character that would fit, where another one stands.
    pub fn corrected(&self, serial: &str) -> Option<String> {
        let range = self.pattern.captures(serial)?.name(COVERED).map_or(0..serial.len(), |covered| covered.range());
        let covered = self.check?.corrected(&serial[range.clone()])?;
        Some(format!("{}{covered}{}", &serial[..range.start], &serial[range.end..]))
    }
}

/// The number that fits if two neighbours were swapped, where there is exactly one.
fn swapped(system: &System, number: &str) -> Option<String> {
    let characters: Vec<char> = number.chars().collect();
    let counted: Vec<usize> = (0..characters.len()).filter(|at| is_counted(characters[*at])).collect();
    let mut fitting = counted.windows(2).filter_map(|pair| {
        let mut other = characters.clone();
        other.swap(pair[0], pair[1]);
        let other: String = other.into_iter().collect();
        (system.fits(&other) == Ok(true)).then_some(other)
    });
    let first = fitting.next()?;
    fitting.next().is_none().then_some(first)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(pattern: &str, name: &str) -> SerialNumbers {
        let system = System::ALL.into_iter().find(|system| system.name == name);
        SerialNumbers::new(Regex::new(&format!("^(?:{pattern})$")).expect("a pattern"), system)
    }

    #[test]
    fn a_slip_is_refused_with_what_may_have_happened() {
        let numbers = numbers("SM-[0-9]{4}-[0-9A-Z*]", "mod 37-2");
        assert_eq!(numbers.check("SM-0001-J"), Ok(()));
        let said = |serial| numbers.check(serial).expect_err(serial);
        assert!(said("SM-0002-J").contains("a character is wrong or two are swapped; read the label again"));
        assert!(said("SM-0010-J").contains("swapped it would be `SM-0001-J`; read"), "{}", said("SM-0010-J"));
        assert!(said("SM-0001").contains("the unit file wants ^(?:SM-"));
        assert!(said("SM-0001-J\n").contains("the unit file wants"));
        assert_eq!(numbers.corrected("SM-0001-A").as_deref(), Some("SM-0001-J"));
    }

    #[test]
    fn a_part_of_the_number_can_be_covered_alone() {
        let numbers = numbers("SM-(?<checked>[0-9]{4}[0-9X])/[AB]", "mod 11-2");
        assert_eq!(numbers.check("SM-0001X/A"), Ok(()));
        assert_eq!(numbers.check("SM-0001X/B"), Ok(()));
        assert!(numbers.check("SM-00019/A").is_err());
        assert_eq!(numbers.corrected("SM-00019/A").as_deref(), Some("SM-0001X/A"));
        let said = numbers.check("SM-0010X/A").expect_err("two are swapped");
        assert!(said.contains("it would be `SM-0001X/A`"), "{said}");
    }

    #[test]
    fn without_a_system_only_the_look_counts() {
        let numbers = numbers("SM-[0-9]{4}", "none");
        assert_eq!((numbers.check("SM-0001"), numbers.corrected("SM-0001")), (Ok(()), None));
    }
}
