//! Check characters after ISO/IEC 7064: one or two characters at the end of a number that no longer fit where it was mistyped.
//!
//! All systems find every single wrong character. The pure ones (`mod 11-2`, `mod 37-2`, `mod 97-10`) also find every two
//! characters swapped, neighbours or not quite; the hybrid ones (`mod 11,10`, `mod 37,36`) nearly every two neighbours
//! swapped, and need no character beyond their alphabet.

/// A check character system.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct System {
    /// Its designation, in unit files too.
    pub name: &'static str,
    /// How many characters are check characters.
    pub length: usize,
    /// Which characters a check character can be.
    checks: &'static str,
    kind: Kind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// One power of the radix for each character, modulo the modulus.
    Pure { modulus: u32, radix: u32, letters: Letters },
    /// Two moduli in turn, the alphabet's size and one more.
    Hybrid { size: u32 },
}

/// What a system makes of letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Letters {
    /// They have no place in it.
    None,
    /// They are digits from 10 on.
    Digits,
    /// They are two decimal digits, 10 for A, as international bank account numbers and legal entity identifiers have them
    /// (ISO 13616-1, ISO 17442-1).
    Pairs,
}

const DIGITS: &str = "0123456789";
const ALPHANUMERIC: &str = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

impl System {
    /// The systems that a maker would use.
    pub const ALL: [Self; 5] = [
        Self::new("mod 11-2", 1, "0123456789X", Kind::Pure { modulus: 11, radix: 2, letters: Letters::None }),
        Self::new(
            "mod 37-2",
            1,
            "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*",
            Kind::Pure { modulus: 37, radix: 2, letters: Letters::Digits },
        ),
        Self::new("mod 97-10", 2, DIGITS, Kind::Pure { modulus: 97, radix: 10, letters: Letters::Pairs }),
        Self::new("mod 11,10", 1, DIGITS, Kind::Hybrid { size: 10 }),
        Self::new("mod 37,36", 1, ALPHANUMERIC, Kind::Hybrid { size: 36 }),
    ];

    const fn new(name: &'static str, length: usize, checks: &'static str, kind: Kind) -> Self {
        Self { name, length, checks, kind }
    }

    /// Whether a number with its check characters at its end fits. Characters that only set it apart, such as hyphens and
    /// blanks, do not count.
    ///
    /// # Errors
    /// A character that has no place in the system.
    pub fn fits(&self, number: &str) -> Result<bool, char> {
        let counted: Vec<char> = number.chars().filter(|character| is_counted(*character)).collect();
        let Some(body) = counted.len().checked_sub(self.length).filter(|body| *body > 0) else { return Ok(false) };
        let (body, checks) = counted.split_at(body);
        let body =
            body.iter().map(|character| self.value(*character).ok_or(*character)).collect::<Result<Vec<_>, _>>()?;
        let check = |character: &char| self.checks.chars().position(|known| known == *character).ok_or(*character);
        let checks = checks.iter().map(check).collect::<Result<Vec<_>, _>>()?;
        // No alphabet has more than 37 characters.
        Ok(self.sum(body.into_iter().chain(checks.into_iter().map(|value| value as u32))) == 1)
    }

    /// The number with the check characters that would fit in the place of its own.
    pub fn corrected(&self, number: &str) -> Option<String> {
        let characters: Vec<char> = number.chars().collect();
        let counted: Vec<usize> = (0..characters.len()).filter(|at| is_counted(characters[*at])).collect();
        let places = &counted[counted.len().checked_sub(self.length)?..];
        self.candidates().into_iter().find_map(|candidate| {
            let mut corrected = characters.clone();
            for (at, check) in places.iter().zip(candidate.chars()) {
                corrected[*at] = check;
            }
            let corrected: String = corrected.into_iter().collect();
            (self.fits(&corrected) == Ok(true)).then_some(corrected)
        })
    }

    fn candidates(&self) -> Vec<String> {
        let one = || self.checks.chars();
        if self.length == 1 {
            one().map(String::from).collect()
        } else {
            one().flat_map(|first| one().map(move |second| format!("{first}{second}"))).collect()
        }
    }

    fn value(&self, character: char) -> Option<u32> {
        let digits = match self.kind {
            Kind::Pure { letters: Letters::None, .. } | Kind::Hybrid { size: 10 } => 10,
            _ => 36,
        };
        character.to_digit(digits).filter(|_| !character.is_ascii_lowercase())
    }

    /// What has to be 1 (ISO/IEC 7064, 6 and 7), check characters included.
    fn sum(&self, values: impl Iterator<Item = u32>) -> u32 {
        match self.kind {
            Kind::Pure { modulus, radix, letters } => values.fold(0, |sum, value| {
                let shift = if letters == Letters::Pairs && value >= 10 { radix * radix } else { radix };
                (sum * shift + value) % modulus
            }),
            Kind::Hybrid { size } => {
                let mut product = size;
                let mut sum = 0;
                for value in values {
                    sum = (product + value) % size;
                    let doubled = if sum == 0 { size } else { sum } * 2;
                    product = doubled % (size + 1);
                }
                sum
            }
        }
    }
}

/// Whether a character carries something: letters, digits, and the check character `*`.
pub fn is_counted(character: char) -> bool {
    character.is_alphanumeric() || character == '*'
}

#[cfg(test)]
mod tests {
    use super::*;

    fn system(name: &str) -> System {
        System::ALL.into_iter().find(|system| system.name == name).expect("a known system")
    }

    fn fit(name: &str, numbers: &[&str]) {
        for number in numbers {
            assert_eq!(system(name).fits(number), Ok(true), "{name} {number}");
            let other = if number.starts_with('1') { "2" } else { "1" };
            assert_ne!(system(name).fits(&format!("{other}{}", &number[1..])), Ok(true), "{name} {number}");
        }
    }

    // Outside: 079X and 0794 0 (mod 11-2), 794 44 (mod 97-10), 0794 5 (mod 11,10), ISO/IEC 7064, examples; how: from memory
    #[test]
    fn the_standards_examples() {
        fit("mod 11-2", &["079X", "07940"]);
        fit("mod 97-10", &["79444"]);
        fit("mod 11,10", &["07945"]);
    }

    // Outside: ORCID iDs 0000-0002-1825-0097, 0000-0001-5109-3700 and 0000-0002-1694-233X, ORCID's support pages (mod 11-2); how: published text
    #[test]
    fn published_researchers() {
        fit("mod 11-2", &["0000-0002-1825-0097", "0000-0001-5109-3700", "0000-0002-1694-233X"]);
    }

    // Outside: donation number G1234 89 654321 with its keyboard check Y, ISBT 128 (mod 37-2); how: from memory
    #[test]
    fn a_published_donation_number() {
        fit("mod 37-2", &["G1234 89 654321 Y"]);
    }

    // Outside: release identifier A1-2425G-ABC1234002-M of the music industry, GRid standard (mod 37,36); how: published text
    #[test]
    fn a_published_release() {
        fit("mod 37,36", &["A1-2425G-ABC1234002-M"]);
    }

    // Outside: legal entity identifiers 5493001KJTIIGC8Y1R12 and 213800WSGIIZCXF1P572, ISO 17442 (mod 97-10 with letters as pairs); how: from memory
    #[test]
    fn published_legal_entities() {
        fit("mod 97-10", &["5493001KJTIIGC8Y1R12", "213800WSGIIZCXF1P572"]);
    }

    // Outside: check characters of 25 numbers drawn at random, five of each system; how: package python-stdnum 2.2 (stdnum.iso7064)
    #[test]
    fn numbers_of_another_implementation() {
        fit("mod 11-2", &["60", "05267", "86887060", "1077092356970", "4862438876712464242926865852014639"]);
        fit("mod 37-2", &["NT", "EF9V3", "3QK4K3VC", "8KMDLG2OBV5HV", "Q9AUBTHO15KIS5XG5Z8UTRQ32D05F60A52"]);
        fit("mod 97-10", &["098", "629046", "804542251", "23046905561060", "61780057068234818756756967429958827"]);
        fit("mod 11,10", &["43", "83738", "06652437", "9938027010329", "8730016077004681383892018421987828"]);
        fit("mod 37,36", &["G5", "VBS20", "GDTCML8J", "FUU4UH5I3B88U", "36DF4J8DP6O1QH13ECGG7RAX79W3YHPAE9"]);
        fit("mod 37-2", &["SM-0001-J"]);
        fit("mod 97-10", &["SM-0001-46"]);
        fit("mod 37,36", &["SM-0001-N"]);
    }

    /// Every single wrong character, with all systems; every two characters swapped that differ and are neighbours or have one
    /// between them, with the pure ones.
    #[test]
    fn slips_of_the_hand_are_found() {
        for (name, number) in [
            ("mod 11-2", "0000000218250097"),
            ("mod 37-2", "G123489654321Y"),
            ("mod 97-10", "617800570682348187567569674299588 27"),
            ("mod 11,10", "993802701032 9"),
            ("mod 37,36", "A12425GABC1234002M"),
        ] {
            let system = system(name);
            let number: Vec<char> = number.chars().filter(|character| is_counted(*character)).collect();
            let mut tried = 0;
            for at in 0..number.len() {
                for other in system.checks.chars() {
                    let mut wrong = number.clone();
                    wrong[at] = other;
                    let wrong_number: String = wrong.iter().collect();
                    assert_ne!(system.fits(&wrong_number) == Ok(true), wrong != number, "{name} {wrong_number}");
                    tried += 1;
                }
                for far in [1, 2].into_iter().filter(|far| at + far < number.len() && !name.contains(',')) {
                    let mut wrong = number.clone();
                    wrong.swap(at, at + far);
                    let wrong_number: String = wrong.iter().collect();
                    assert_ne!(system.fits(&wrong_number) == Ok(true), wrong != number, "{name} {wrong_number}");
                    tried += 1;
                }
            }
            assert!(tried > 100);
        }
    }

    #[test]
    fn what_has_no_place_is_named_and_nothing_fits_nothing() {
        assert_eq!(system("mod 11-2").fits("SM-0001-X"), Err('S'));
        assert_eq!(system("mod 37-2").fits("sm-0001-J"), Err('s'));
        assert_eq!(system("mod 37-2").fits("SÄ-0001-J"), Err('Ä'));
        assert_eq!(system("mod 11,10").fits("079X"), Err('X'));
        for system in System::ALL {
            assert_eq!((system.fits(""), system.fits("1"), system.fits("--")), (Ok(false), Ok(false), Ok(false)));
            assert_eq!((system.corrected(""), system.corrected("-")), (None, None));
        }
        assert_eq!(system("mod 37-2").corrected("SM-0001-A").as_deref(), Some("SM-0001-J"));
        assert_eq!(system("mod 97-10").corrected("SM-0001-4/9").as_deref(), Some("SM-0001-4/6"));
        assert_eq!(system("mod 11-2").corrected("SM-0001-9"), None);
    }
}
