//! Single values of a jig file.

use super::JigKind;
use crate::capture::EdgeChannel;
use crate::quantity::{Dimension, Quantity};
use crate::written::{Mistake, nearest};
use time::Date;
use time::format_description::StaticFormatDescription;
use time::macros::format_description;

const DAY: StaticFormatDescription = format_description!("[year]-[month]-[day]");
/// Beyond this a relative error or uncertainty is a slip of the keyboard, not a calibration.
const RATIO_MAX: f64 = 0.5;

pub(super) fn kind(text: &str) -> Result<JigKind, Mistake> {
    JigKind::ALL.into_iter().find(|kind| kind.name() == text).ok_or_else(|| {
        let right = match nearest(text, JigKind::ALL.map(JigKind::name)) {
            Some(meant) => format!("did you mean `{meant}`?"),
            None => "the kinds are `simulated`, `capture board` and `raspberry pi`".into(),
        };
        Mistake::new(format!("there is no kind of jig `{text}`"), right)
    })
}

/// The one safe state there is; it has to be said, so that whoever wires a jig has thought of it.
pub(super) fn safe_state(text: &str) -> Result<(), Mistake> {
    if text == "all off" {
        return Ok(());
    }
    let right =
        "write `all off`, and wire the relays so that supply and load are off and nothing is pressed without power";
    Err(Mistake::new(format!("`{text}` is no safe state"), right))
}

pub(super) fn interlock(text: &str) -> Result<EdgeChannel, Mistake> {
    let known = [EdgeChannel::EmergencyStop, EdgeChannel::Guard];
    known.into_iter().find(|channel| channel.name() == text).ok_or_else(|| {
        Mistake::new(format!("`{text}` is no interlock"), "the interlocks are `emergency stop` and `guard`")
    })
}

/// Whole ticks per second.
pub(super) fn tick_rate(text: &str) -> Result<u64, Mistake> {
    let rate = quantity(text, Dimension::Frequency)?;
    if (1e3..=1e9).contains(&rate) && rate.fract() == 0.0 {
        return Ok(rate as u64);
    }
    Err(Mistake::new(
        format!("no clock of a jig ticks at `{text}`"),
        "write whole ticks per second from 1 kHz to 1000 MHz",
    ))
}

pub(super) fn small_ratio(text: &str) -> Result<f64, Mistake> {
    let ratio = quantity(text, Dimension::Ratio)?;
    if ratio.abs() <= RATIO_MAX {
        return Ok(ratio);
    }
    Err(Mistake::new(format!("`{text}` is no small error"), "write for example `12 ppm`"))
}

pub(super) fn between_zero_and_one(text: &str) -> Result<f64, Mistake> {
    let ratio = quantity(text, Dimension::Ratio)?;
    if ratio > 0.0 && ratio < 1.0 {
        return Ok(ratio);
    }
    Err(Mistake::new(format!("`{text}` is not between 0 % and 100 %"), "write for example `50 %`"))
}

/// A standard uncertainty: not negative, and not more than half where it is relative.
pub(super) fn uncertainty(dimension: Dimension) -> impl Fn(&str) -> Result<f64, Mistake> {
    move |text| {
        let uncertainty = quantity(text, dimension)?;
        if uncertainty < 0.0 || (dimension == Dimension::Ratio && uncertainty > RATIO_MAX) {
            let what = format!("`{text}` is no standard uncertainty");
            return Err(Mistake::new(what, "write a small value that is not negative, as the calibration states it"));
        }
        Ok(uncertainty)
    }
}

pub(super) fn above_zero(dimension: Dimension) -> impl Fn(&str) -> Result<f64, Mistake> {
    move |text| {
        let value = quantity(text, dimension)?;
        if value > 0.0 {
            return Ok(value);
        }
        let what = format!("`{text}` is not {} above zero", dimension.words());
        Err(Mistake::new(what, format!("write for example `{}`", dimension.example())))
    }
}

/// A value per code: anything but nothing.
pub(super) fn gain(dimension: Dimension) -> impl Fn(&str) -> Result<f64, Mistake> {
    move |text| match quantity(text, dimension)? {
        0.0 => Err(Mistake::new("a gain of nothing makes every code the same", "write the value of one code")),
        gain => Ok(gain),
    }
}

pub(super) fn quantity(text: &str, dimension: Dimension) -> Result<f64, Mistake> {
    Quantity::parse(text, dimension).map(Quantity::si).map_err(|error| Mistake::new(error.what, error.right))
}

pub(super) fn day(text: &str) -> Result<Date, Mistake> {
    Date::parse(text, DAY).map_err(|_| {
        Mistake::new(format!("`{text}` is no day of the calendar"), "write year-month-day, for example `2026-03-02`")
    })
}

/// A pin of the 40-pin header by its BCM number; 0 and 1 are kept for the header's own identification.
pub(super) fn pin(text: &str) -> Result<u8, Mistake> {
    text.parse().ok().filter(|pin| (2..=27).contains(pin)).ok_or_else(|| {
        Mistake::new(format!("`{text}` is no pin"), "write the BCM number of a pin of the header, from 2 to 27")
    })
}

/// A device's address. I2C-bus specification (UM10204, rev. 7, 2021), 3.1.12: 0x00 to 0x07 and 0x78 to 0x7F are reserved.
pub(super) fn device(text: &str) -> Result<u8, Mistake> {
    byte(text).filter(|device| (0x08..=0x77).contains(device)).ok_or_else(|| {
        Mistake::new(
            format!("`{text}` is no address on the I2C bus"),
            "write a 7-bit address from 0x08 to 0x77, for example `0x40`",
        )
    })
}

pub(super) fn register(text: &str) -> Result<u8, Mistake> {
    byte(text).ok_or_else(|| Mistake::new(format!("`{text}` is no register"), "write a number from 0x00 to 0xFF"))
}

pub(super) fn shift(text: &str) -> Result<u8, Mistake> {
    text.parse().ok().filter(|shift| *shift < 16).ok_or_else(|| {
        Mistake::new(format!("no register has `{text}` spare bits"), "write a whole number from 0 to 15")
    })
}

pub(super) fn level(text: &str) -> Result<bool, Mistake> {
    match text {
        "high" => Ok(true),
        "low" => Ok(false),
        _ => Err(Mistake::new(format!("`{text}` is no level"), "write `high` or `low`")),
    }
}

/// A word of a list, for example a `chip`.
pub(super) fn one_of<T: Copy>(text: &str, what: &str, known: &[(&'static str, T)]) -> Result<T, Mistake> {
    let found = known.iter().find(|(name, _)| name.eq_ignore_ascii_case(text));
    found.map(|(_, value)| *value).ok_or_else(|| {
        let names: Vec<String> = known.iter().map(|(name, _)| format!("`{name}`")).collect();
        Mistake::new(format!("`{text}` is no {what} that this program knows"), format!("write {}", names.join(" or ")))
    })
}

fn byte(text: &str) -> Option<u8> {
    match text.strip_prefix("0x") {
        Some(digits) => u8::from_str_radix(digits, 16).ok(),
        None => text.parse().ok(),
    }
}
