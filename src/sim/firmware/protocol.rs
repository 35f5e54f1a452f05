//! The unit's line protocol: what the firmware understands. Its own parser, so that a mistake in the bench's dialect
//! cannot cancel itself out here.

use crate::capture::Side;

/// Something that the bench asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Order {
    /// `WHO`
    Who,
    /// `STATE`
    State,
    /// `HOME L`
    Home(Side),
    /// `GO R 90.0`: to an end, mm/s.
    Go(Side, f64),
    /// `TO 280.00 40.0`: to a place in mm, at mm/s.
    To(f64, f64),
    /// `BY -50.00 15.0`: by a distance in mm, at mm/s.
    By(f64, f64),
    /// `RUN L`: to an end at the selected level.
    Run(Side),
    /// `LEVEL 3`
    Level(u8),
    /// `CRAWL R`
    Crawl(Side),
    /// `STOP`
    Stop,
}

/// Why the unit does not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// Not understood.
    What,
    /// A value outside what it can do.
    Range,
    /// Moving.
    Busy,
    /// It does not know where it is.
    NotHomed,
    /// The pack is too empty.
    PackLow,
    /// Halted until the supply is switched.
    Halted,
}

impl Refusal {
    /// The line that says so.
    pub const fn line(self) -> &'static str {
        match self {
            Self::What => "NO 1 what",
            Self::Range => "NO 2 range",
            Self::Busy => "NO 3 busy",
            Self::NotHomed => "NO 4 not homed",
            Self::PackLow => "NO 5 pack low",
            Self::Halted => "NO 6 halted",
        }
    }
}

/// The slowest and fastest speed that it accepts, mm/s: the timer's longest delay, and a little more than the promise.
const SPEEDS: std::ops::RangeInclusive<f64> = 0.4..=100.0;

impl Order {
    /// Understands a line.
    pub fn understood(line: &str) -> Result<Self, Refusal> {
        let mut words = line.split(' ');
        let verb = words.next().unwrap_or_default();
        let mut next = || words.next().ok_or(Refusal::What);
        let order = match verb {
            "WHO" => Self::Who,
            "STATE" => Self::State,
            "STOP" => Self::Stop,
            "HOME" => Self::Home(side(next()?)?),
            "RUN" => Self::Run(side(next()?)?),
            "CRAWL" => Self::Crawl(side(next()?)?),
            "GO" => Self::Go(side(next()?)?, speed(next()?)?),
            "TO" => Self::To(number(next()?)?, speed(next()?)?),
            "BY" => Self::By(number(next()?)?, speed(next()?)?),
            "LEVEL" => match next()?.parse() {
                Ok(level @ 1..=6) => Self::Level(level),
                Ok(_) => return Err(Refusal::Range),
                Err(_) => return Err(Refusal::What),
            },
            _ => return Err(Refusal::What),
        };
        if words.next().is_some() { Err(Refusal::What) } else { Ok(order) }
    }
}

fn side(word: &str) -> Result<Side, Refusal> {
    match word {
        "L" => Ok(Side::Left),
        "R" => Ok(Side::Right),
        _ => Err(Refusal::What),
    }
}

/// The letter of a side.
pub const fn letter(side: Side) -> char {
    match side {
        Side::Left => 'L',
        Side::Right => 'R',
    }
}

fn number(word: &str) -> Result<f64, Refusal> {
    let number: f64 = word.parse().map_err(|_| Refusal::What)?;
    if number.is_finite() && number.abs() < 1e6 { Ok(number) } else { Err(Refusal::Range) }
}

fn speed(word: &str) -> Result<f64, Refusal> {
    let speed = number(word)?;
    if SPEEDS.contains(&speed) { Ok(speed) } else { Err(Refusal::Range) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn understands_its_lines_and_nothing_else() {
        let cases = [
            ("WHO", Ok(Order::Who)),
            ("HOME L", Ok(Order::Home(Side::Left))),
            ("GO R 90.0", Ok(Order::Go(Side::Right, 90.0))),
            ("TO 280.00 40.0", Ok(Order::To(280.0, 40.0))),
            ("BY -50.00 15.0", Ok(Order::By(-50.0, 15.0))),
            ("LEVEL 3", Ok(Order::Level(3))),
            ("LEVEL 7", Err(Refusal::Range)),
            ("GO R 900", Err(Refusal::Range)),
            ("GO R NaN", Err(Refusal::Range)),
            ("TO inf 5", Err(Refusal::Range)),
            ("GO R", Err(Refusal::What)),
            ("GO X 5", Err(Refusal::What)),
            ("WHO ELSE", Err(Refusal::What)),
            ("who", Err(Refusal::What)),
            ("", Err(Refusal::What)),
        ];
        for (line, understood) in cases {
            assert_eq!(Order::understood(line), understood, "{line}");
        }
    }
}
