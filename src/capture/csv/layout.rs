//! How a table is laid out: its separator, which column is what, and what its times tell apart.

use super::number::Decimal;
use super::{PULSES, is_line_end};
use crate::capture::chunks::Chunks;
use crate::capture::{Channel, EdgeChannel, ForeignError, Wire};
use crate::quantity::{Dimension, Quantity};
use std::io::Read;

/// The names stand in one of so many first lines.
const PREAMBLE_MAX: usize = 64;
/// So many rows are looked at for what times tell apart.
const LOOKED_AT: usize = 256;
/// The fewest rows that show a steady rate.
const STEADY_ROWS: usize = 16;

/// How a table is laid out.
#[derive(Debug, Clone)]
pub struct Layout {
    pub separator: u8,
    /// Whether a number may have a decimal comma.
    pub comma: bool,
    /// Lines up to and including the line of names.
    pub head_lines: usize,
    /// How many columns there are.
    pub columns: usize,
    /// Column of each wire.
    pub column_of: Vec<usize>,
    /// What one unit of each wire's numbers is worth, in SI.
    pub scales: Vec<f64>,
    /// The column of time, where there is one.
    pub time: Option<TimeColumn>,
    /// Whether each 1 of a wire's column is a pulse.
    pub are_pulses: Vec<bool>,
    /// The power of ten of the seconds in which edge times are listed.
    pub edge_power: Vec<i32>,
    pub resolution_s: f64,
}

/// The column of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeColumn {
    pub column: usize,
    /// Times are in 10^this seconds.
    pub power: i32,
}

impl Layout {
    pub fn read(from: impl Read, wires: &[Wire]) -> Result<Self, ForeignError> {
        let lines = first_lines(from)?;
        let mut names = Vec::new();
        for (index, line) in lines.iter().enumerate().take(PREAMBLE_MAX) {
            let text = String::from_utf8_lossy(line.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(line)).into_owned();
            let separator = [b';', b'\t'].into_iter().find(|byte| text.bytes().any(|b| b == *byte)).unwrap_or(b',');
            let found: Vec<String> =
                fields(text.as_bytes(), separator).map(|field| String::from_utf8_lossy(field).into_owned()).collect();
            if let Some(column_of) = wires.iter().map(|wire| column(&found, &wire.name)).collect::<Option<Vec<_>>>() {
                return Self::of(&found, separator, index + 1, column_of, wires, &lines[index + 1..]);
            }
            if names.len() < found.len() {
                names = found;
            }
        }
        let missing = wires.iter().find(|wire| column(&names, &wire.name).is_none());
        Err(ForeignError::NoSignal {
            name: missing.map_or_else(String::new, |wire| wire.name.clone()),
            known: names.into_iter().filter(|name| !name.is_empty()).collect(),
        })
    }

    fn of(
        names: &[String],
        separator: u8,
        head_lines: usize,
        column_of: Vec<usize>,
        wires: &[Wire],
        rows: &[Vec<u8>],
    ) -> Result<Self, ForeignError> {
        let is_time = |(column, name): &(usize, &String)| !column_of.contains(column) && is_called_time(name);
        let time = names.iter().enumerate().find(is_time).map(|(column, name)| (column, name.clone()));
        let time = time
            .map(|(column, name)| Ok::<_, ForeignError>(TimeColumn { column, power: time_power(&name)? }))
            .transpose()?;
        let scales = wires
            .iter()
            .zip(&column_of)
            .map(|(wire, column)| scale(wire, &names[*column]))
            .collect::<Result<_, _>>()?;
        let are_pulses = wires.iter().zip(&column_of).map(|(wire, column)| {
            wire.channel == Channel::Edge(EdgeChannel::Step) && split_unit(&names[*column]).1 == Some(PULSES)
        });
        let are_pulses = are_pulses.collect();
        let mut edge_power = vec![0; wires.len()];
        if time.is_none() {
            for ((wire, column), power) in wires.iter().zip(&column_of).zip(&mut edge_power) {
                if matches!(wire.channel, Channel::Sample(_)) {
                    return Err(ForeignError::Unfit {
                        name: wire.name.clone(),
                        channel: wire.channel.name(),
                        why: "samples need a column of time; call it `time`".into(),
                    });
                }
                *power = time_power(&names[*column])?;
            }
        }
        let mut layout = Self {
            separator,
            comma: separator != b',',
            head_lines,
            columns: names.len(),
            column_of,
            scales,
            time,
            are_pulses,
            edge_power,
            resolution_s: 0.0,
        };
        layout.resolution_s = layout.resolution(rows);
        Ok(layout)
    }

    /// What the times of the first rows tell apart.
    fn resolution(&self, rows: &[Vec<u8>]) -> f64 {
        let columns = match self.time {
            Some(time) => vec![(time.column, time.power)],
            None => self.column_of.iter().copied().zip(self.edge_power.iter().copied()).collect(),
        };
        let numbers = |(column, power): (usize, i32)| {
            rows.iter()
                .filter_map(move |row| fields(row, self.separator).nth(column))
                .filter_map(|field| Decimal::parse(field, self.comma))
                .map(move |number| (number.whole(-9 - power), number.last_place() + power))
        };
        let last_place = columns.iter().flat_map(|column| numbers(*column)).map(|(_, place)| place).min();
        let decimal = 10f64.powi(last_place.unwrap_or(-9).max(-9));
        let Some(time) = self.time else { return decimal };
        let times: Vec<i64> = numbers((time.column, time.power)).filter_map(|(time, _)| time).collect();
        let steps: Vec<i64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
        // Rounded times differ by their last digit.
        let slack = (decimal * 1e9) as i64 + 1;
        match steps.first() {
            Some(first) if steps.len() >= STEADY_ROWS && steps.iter().all(|step| (step - first).abs() <= slack) => {
                (*first as f64 / 1e9).max(decimal)
            }
            _ => decimal,
        }
    }
}

/// The table's first lines, without their ends.
fn first_lines(from: impl Read) -> Result<Vec<Vec<u8>>, ForeignError> {
    let mut chunks = Chunks::new(from);
    let mut lines = Vec::new();
    while lines.len() < PREAMBLE_MAX + LOOKED_AT {
        let text = chunks.whole(is_line_end)?;
        if text.is_empty() {
            break;
        }
        lines.extend(
            text.split_inclusive(|byte| *byte == b'\n')
                .take(PREAMBLE_MAX + LOOKED_AT)
                .map(|line| line.trim_ascii_end().to_vec()),
        );
        let used = text.len();
        chunks.used(used);
    }
    if lines.is_empty() {
        return Err(ForeignError::malformed("line 1", "the table is empty", "take a copy that is whole"));
    }
    Ok(lines)
}

/// The fields of a line, trimmed, without quotes about them.
pub fn fields(line: &[u8], separator: u8) -> impl Iterator<Item = &[u8]> {
    let mut is_quoted = false;
    line.split(move |byte| {
        is_quoted ^= *byte == b'"';
        *byte == separator && !is_quoted
    })
    .map(bare)
}

/// A field without blanks and quotes about it.
#[inline]
fn bare(field: &[u8]) -> &[u8] {
    let field = field.trim_ascii();
    match field {
        [b'"', inner @ .., b'"'] => inner.trim_ascii(),
        field => field,
    }
}

/// The column that is called so: by its whole name, or by its name without a unit.
fn column(names: &[String], wanted: &str) -> Option<usize> {
    let exact = names.iter().position(|name| name == wanted);
    exact.or_else(|| names.iter().position(|name| split_unit(name).0 == wanted))
}

/// `pack [mV]` is `pack` in `mV`.
fn split_unit(name: &str) -> (&str, Option<&str>) {
    let split = |open: char, close: char| {
        let (base, unit) = name.strip_suffix(close)?.rsplit_once(open)?;
        Some((base.trim(), Some(unit.trim())))
    };
    split('[', ']').or_else(|| split('(', ')')).unwrap_or((name, None))
}

fn is_called_time(name: &str) -> bool {
    let base = split_unit(name).0.to_lowercase();
    base == "t" || base.starts_with("time") || base == "seconds"
}

/// The power of ten of the seconds in which a column is.
fn time_power(name: &str) -> Result<i32, ForeignError> {
    match split_unit(name).1 {
        None | Some("s" | "sec" | "seconds") => Ok(0),
        Some("ms") => Ok(-3),
        Some("us" | "µs" | "\u{3bc}s") => Ok(-6),
        Some("ns") => Ok(-9),
        // `bus[3]` has an index, which is no unit.
        Some(other) if other.bytes().all(|byte| byte.is_ascii_digit()) => Ok(0),
        Some(other) => {
            let what = format!("times of `{name}` are in `{other}`, which is no unit of time");
            Err(ForeignError::malformed("the line of names", what, "write s, ms, us or ns"))
        }
    }
}

/// What one unit of a wire's numbers is worth: as the user says, or as the column's name does, or one.
fn scale(wire: &Wire, name: &str) -> Result<f64, ForeignError> {
    let Channel::Sample(channel) = wire.channel else { return Ok(1.0) };
    // `bus[3]` has an index, which is no unit.
    let unit = split_unit(name).1.filter(|unit| !unit.bytes().all(|byte| byte.is_ascii_digit()));
    match (wire.scale, unit) {
        (Some(worth), _) => Ok(worth),
        (None, None) => Ok(1.0),
        (None, Some(unit)) => {
            let dimension = channel.dimension();
            // A temperature is counted from 0 °C in either unit.
            let unit = if dimension == Dimension::TemperatureDifference {
                unit.trim_start_matches('°').replace('C', "K")
            } else {
                unit.to_owned()
            };
            Quantity::parse(&format!("1 {unit}"), dimension).map(Quantity::si).map_err(|misread| ForeignError::Unfit {
                name: wire.name.clone(),
                channel: wire.channel.name(),
                why: format!("its column is in `{unit}`: {misread}"),
            })
        }
    }
}
