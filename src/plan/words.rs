//! Single words of a plan: quantities, ends of the rail, levels, patterns.

use crate::capture::Side;
use crate::quantity::{Dimension, Quantity};
use crate::written::{Mistake, nearest};
use regex::Regex;

/// The most turns of one `repeat`.
const TIMES_MAX: u32 = 1_000;
/// The longest duration that any key takes, s.
const DURATION_MAX: f64 = 3600.0;
/// The longest press of a control, s.
const PRESS_MAX: f64 = 10.0;

pub(super) fn side(text: &str) -> Result<Side, Mistake> {
    match text {
        "left" => Ok(Side::Left),
        "right" => Ok(Side::Right),
        _ => Err(Mistake::new(format!("`{text}` is no end of the rail"), "write `left` or `right`")),
    }
}

/// An end, or else a position.
pub(super) fn goal(text: &str) -> Result<Result<Side, f64>, Mistake> {
    if let Ok(side) = side(text) {
        return Ok(Ok(side));
    }
    if !text.starts_with(|c: char| c.is_ascii_digit() || "+-.\u{2212}".contains(c)) {
        let right = match nearest(text, ["left", "right"]) {
            Some(meant) => format!("did you mean `{meant}`?"),
            None => "write `left`, `right` or a position such as `280 mm`".into(),
        };
        return Err(Mistake::new(format!("`{text}` is neither an end of the rail nor a position"), right));
    }
    let position = quantity(text, Dimension::Length)?;
    if position < 0.0 {
        return Err(Mistake::new(
            format!("`{text}` lies beyond the left end, from which positions count"),
            "write a position that is not negative, or go `by` a distance",
        ));
    }
    Ok(Err(position))
}

pub(super) fn distance(text: &str) -> Result<f64, Mistake> {
    match quantity(text, Dimension::Length)? {
        0.0 => Err(Mistake::new("a travel by nothing goes nowhere", "write for example `by: -50 mm`")),
        distance => Ok(distance),
    }
}

pub(super) fn speed(text: &str) -> Result<f64, Mistake> {
    positive(text, Dimension::Speed)
}

pub(super) fn duration(text: &str) -> Result<f64, Mistake> {
    let seconds = positive(text, Dimension::Time)?;
    if seconds > DURATION_MAX {
        return Err(Mistake::new(
            format!("`{text}` is longer than an hour"),
            "write at most `1 h`, in several moves if it must be longer",
        ));
    }
    Ok(seconds)
}

pub(super) fn press_duration(text: &str) -> Result<f64, Mistake> {
    let seconds = duration(text)?;
    if seconds > PRESS_MAX {
        return Err(Mistake::new(format!("`{text}` is longer than anyone presses"), "write at most `10 s`"));
    }
    Ok(seconds)
}

pub(super) fn level(text: &str) -> Result<u32, Mistake> {
    text.parse().ok().filter(|level| (1..=99).contains(level)).ok_or_else(|| {
        Mistake::new(format!("`{text}` is no speed level"), "levels are whole numbers from 1, for example `level: 4`")
    })
}

pub(super) fn times(text: &str) -> Result<u32, Mistake> {
    text.parse().ok().filter(|times| (1..=TIMES_MAX).contains(times)).ok_or_else(|| {
        Mistake::new(
            format!("nothing can be repeated `{text}` times"),
            format!("write a whole number from 1 to {TIMES_MAX}"),
        )
    })
}

pub(super) fn switch(text: &str) -> Result<bool, Mistake> {
    match text {
        "on" => Ok(true),
        "off" => Ok(false),
        _ => Err(Mistake::new(format!("`{text}` is no state of a switch"), "write `on` or `off`")),
    }
}

pub(super) fn pack(text: &str) -> Result<bool, Mistake> {
    match text {
        "nearly empty" => Ok(true),
        "full" => Ok(false),
        _ => Err(Mistake::new(format!("a bench has no pack `{text}`"), "write `nearly empty` or `full`")),
    }
}

pub(super) fn command_text(text: &str) -> Result<String, Mistake> {
    if text.chars().any(char::is_control) || text.len() > 200 {
        let right = "write the text without its line ending, at most 200 characters; the unit file has the line ending";
        return Err(Mistake::new("this cannot be sent as one line", right));
    }
    Ok(text.into())
}

pub(super) fn pattern(text: &str) -> Result<String, Mistake> {
    Regex::new(text).map(|_| text.into()).map_err(|error| {
        let last = error.to_string().lines().last().unwrap_or_default().trim_start_matches("error: ").to_owned();
        let right = "write a regular expression over one line of the unit, such as `^I AM`; a sign of its own gets a `\\` before it";
        Mistake::new(format!("`{text}` is no pattern: {last}"), right)
    })
}

pub(super) fn quantity(text: &str, dimension: Dimension) -> Result<f64, Mistake> {
    Quantity::parse(text, dimension).map(Quantity::si).map_err(|error| Mistake::new(error.what, error.right))
}

/// A quantity above zero.
pub(super) fn positive(text: &str, dimension: Dimension) -> Result<f64, Mistake> {
    let quantity = Quantity::parse(text, dimension).map_err(|error| Mistake::new(error.what, error.right))?;
    if quantity.si() > 0.0 {
        return Ok(quantity.si());
    }
    let what = format!("`{text}` is not {} above zero", dimension.words());
    Err(Mistake::new(what, format!("write for example `{}`", dimension.example())))
}
