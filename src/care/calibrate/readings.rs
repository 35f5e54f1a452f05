//! A table of readings against a reference, as spreadsheets write it.
//!
//! The first line names the columns: `code` (of the clock `ticks`, of the encoder `edges`), `reference`, `uncertainty` of
//! the reference (standard), and if need be `scatter` and `readings` where a count is the mean of several, and `unit`. A
//! unit stands in a column's name, `reference [V]`, in the cell itself, `7.2 V`, or in the column `unit`. Comma, semicolon
//! and tab separate; with the latter two a decimal comma is understood. Empty lines and those that begin with `#` are
//! passed over.

use super::{Doubt, Target, reading_uncertainty};
use crate::quantity::{Dimension, Misread, Quantity};
use crate::written::{Mistake, Notes, Problem, Source, nearest};
use std::ops::Range;

/// Beyond this a count is no whole number any more.
const COUNT_MAX: f64 = 9_007_199_254_740_992.0;
/// More readings than this are a capture, not a calibration.
const READINGS_MAX: usize = 10_000;

/// One reading of the jig against the reference.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Where it is from: `line 3`.
    pub place: String,
    /// What the jig counted: a code, ticks, edges.
    pub count: f64,
    /// Its standard uncertainty.
    pub count_uncertainty: f64,
    /// What the reference said, SI.
    pub reference: f64,
    /// The standard uncertainty that stands with it, SI.
    pub reference_uncertainty: f64,
}

/// Reads a table. Where `has_doubt` says that the reference's doubt is stated elsewhere, the column of it may be absent.
///
/// # Errors
/// All mistakes, each at its place.
pub fn read(source: &Source, target: &Target, has_doubt: bool) -> Result<Vec<Reading>, Vec<Problem>> {
    let notes = Notes::on(source);
    let mut lines = lines(source.text());
    let Some((_, head)) = lines.next() else {
        let right = format!("begin with a line of names: `{},reference [V],uncertainty [mV]`", target.counts());
        notes.push(Problem::new(source, 0..0, "", "this table is empty", right));
        return notes.finish(None);
    };
    let table = Table::of(source, head, target, has_doubt, &notes);
    let Some(table) = table.filter(|_| notes.count() == 0) else { return notes.finish(None) };
    let mut readings = Vec::new();
    for (number, line) in lines {
        if readings.len() == READINGS_MAX {
            let what = format!("these are more than {READINGS_MAX} readings");
            notes.push(Problem::new(source, line, "", what, "take means of them"));
            break;
        }
        readings.extend(table.reading(number, line, &notes));
    }
    notes.finish(Some(readings))
}

/// Lines that say something: their number from 1, and their bytes without the end.
fn lines(text: &str) -> impl Iterator<Item = (usize, Range<usize>)> + '_ {
    let mut start = 0;
    let whole = text.split_inclusive('\n').enumerate().map(move |(index, line)| {
        let begin = start;
        start += line.len();
        (index + 1, begin..begin + line.trim_end().len(), line)
    });
    whole
        .filter(|(_, _, line)| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
        .map(|(number, range, _)| (number, range))
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Count,
    Reference,
    Uncertainty,
    Scatter,
    Readings,
    Unit,
}

impl Column {
    const ALL: [Column; 6] =
        [Self::Count, Self::Reference, Self::Uncertainty, Self::Scatter, Self::Readings, Self::Unit];

    const fn name(self, target: &Target) -> &'static str {
        match self {
            Self::Count => target.counts(),
            Self::Reference => "reference",
            Self::Uncertainty => "uncertainty",
            Self::Scatter => "scatter",
            Self::Readings => "readings",
            Self::Unit => "unit",
        }
    }
}

/// A table whose columns are known.
struct Table<'s> {
    source: &'s Source,
    target: &'s Target,
    separator: char,
    /// Each column with the unit in its name.
    columns: Vec<(Column, Option<&'s str>)>,
}

/// A cell: its bytes without blanks and quotes.
type Cell = Range<usize>;

impl<'s> Table<'s> {
    fn of(source: &'s Source, head: Cell, target: &'s Target, has_doubt: bool, notes: &Notes) -> Option<Self> {
        let text = source.text();
        let separator = [';', '\t'].into_iter().find(|sign| text[head.clone()].contains(*sign)).unwrap_or(',');
        let known: Vec<&str> = Column::ALL.iter().map(|column| column.name(target)).collect();
        let mut columns: Vec<(Column, Option<&str>)> = Vec::new();
        for cell in cells(text, head.clone(), separator) {
            let (name, unit) = split_unit(&text[cell.clone()]);
            let named = Column::ALL.into_iter().find(|column| column.name(target).eq_ignore_ascii_case(name));
            let wrong = match named {
                None => {
                    let right = match nearest(name, known.iter().copied()) {
                        Some(meant) => format!("did you mean `{meant}`?"),
                        None => format!("the columns are {}", known.join(", ")),
                    };
                    Some((format!("a table of readings of `{}` has no column `{name}`", target.name()), right))
                }
                Some(column) if columns.iter().any(|(other, _)| *other == column) => {
                    Some((format!("the column `{name}` stands here a second time"), "keep one of the two".into()))
                }
                Some(_) => None,
            };
            if let Some((what, right)) = wrong {
                notes.push(Problem::new(source, cell, "", what, right));
            }
            columns.extend(named.map(|column| (column, unit)));
        }
        let needed = [Column::Count, Column::Reference, Column::Uncertainty];
        let missing = needed.into_iter().filter(|column| *column != Column::Uncertainty || !has_doubt);
        for column in missing.filter(|needed| columns.iter().all(|(column, _)| column != needed)) {
            let what = format!("a table of readings needs the column `{}`", column.name(target));
            let right = match column {
                Column::Uncertainty => {
                    "add the standard uncertainty of the reference, or state it by --reference-uncertainty"
                }
                _ => "name it in this first line",
            };
            notes.push(Problem::new(source, head.clone(), "", what, right));
        }
        (!columns.is_empty()).then_some(Self { source, target, separator, columns })
    }

    fn reading(&self, number: usize, line: Cell, notes: &Notes) -> Option<Reading> {
        let found: Vec<Cell> = cells(self.source.text(), line.clone(), self.separator).collect();
        if found.len() != self.columns.len() {
            let what = format!("this line has {} cells, and the line of names {}", found.len(), self.columns.len());
            let right = "write each line like the first, and put a text that holds the separator in quotes";
            notes.push(Problem::new(self.source, line, "", what, right));
            return None;
        }
        let row = Row { table: self, cells: &found, notes };
        let count = row.number(Column::Count, |count| count.abs() <= COUNT_MAX, "a whole count or a mean of several");
        let reference =
            row.quantity(Column::Reference, |text| Quantity::parse(text, self.target.reference()).map(Quantity::si));
        let doubt = row.quantity(Column::Uncertainty, |text| Doubt::parse(text, self.target.difference()));
        let scatter =
            row.number(Column::Scatter, |scatter| scatter >= 0.0, "a standard deviation, which is not negative");
        let readings = row.number(
            Column::Readings,
            |readings| readings >= 1.0 && readings.fract() == 0.0 && readings <= COUNT_MAX,
            "a whole number from 1",
        );
        let (count, reference) = (count.ok()??, reference.ok()??);
        Some(Reading {
            place: format!("line {number}"),
            count,
            count_uncertainty: self.target.counted(reading_uncertainty(scatter.ok()?, readings.ok()?.unwrap_or(1.0))),
            reference,
            reference_uncertainty: doubt.ok()?.map_or(0.0, |doubt| doubt.at(reference)),
        })
    }
}

/// A cell that cannot be understood; what is wrong is noted.
struct Noted;

/// The cells of one line.
struct Row<'r> {
    table: &'r Table<'r>,
    cells: &'r [Cell],
    notes: &'r Notes,
}

impl Row<'_> {
    /// The cell of a column with the unit in the column's name; an empty one only where that may be.
    fn cell(&self, wanted: Column) -> Option<(&Cell, &str, Option<&str>)> {
        let index = self.table.columns.iter().position(|(column, _)| *column == wanted)?;
        let cell = &self.cells[index];
        let text = &self.table.source.text()[cell.clone()];
        let is_needed = matches!(wanted, Column::Count | Column::Reference | Column::Uncertainty);
        (is_needed || !text.is_empty()).then_some((cell, text, self.table.columns[index].1))
    }

    fn note<T>(&self, cell: &Cell, what: impl Into<String>, right: impl Into<String>) -> Result<T, Noted> {
        self.notes.push(Problem::new(self.table.source, cell.clone(), "", what, right));
        Err(Noted)
    }

    fn note_empty<T>(&self, cell: &Cell, column: Column) -> Result<T, Noted> {
        let what = format!("this line has no `{}`", column.name(self.table.target));
        self.note(cell, what, "write it, or leave the line out")
    }

    /// With a point for a decimal comma, where commas do not separate.
    fn pointed(&self, text: &str) -> String {
        if self.table.separator == ',' { text.into() } else { text.replacen(',', ".", 1) }
    }

    fn number(&self, column: Column, is_right: impl Fn(f64) -> bool, wanted: &str) -> Result<Option<f64>, Noted> {
        let Some((cell, text, _)) = self.cell(column) else { return Ok(None) };
        if text.is_empty() {
            return self.note_empty(cell, column);
        }
        match self.pointed(text).parse() {
            Ok(number) if f64::is_finite(number) && is_right(number) => Ok(Some(number)),
            _ => {
                let what = format!("`{text}` is no number of `{}`", column.name(self.table.target));
                self.note(cell, what, format!("write {wanted}"))
            }
        }
    }

    /// A quantity: with its own unit, or that of its column, or that of the line.
    fn quantity<T>(&self, column: Column, parse: impl Fn(&str) -> Result<T, Misread>) -> Result<Option<T>, Noted> {
        let Some((cell, text, column_unit)) = self.cell(column) else { return Ok(None) };
        if text.is_empty() {
            return self.note_empty(cell, column);
        }
        let line_unit = self.cell(Column::Unit).map(|(_, text, _)| text);
        let text = self.pointed(text);
        let parsed = match column_unit.or(line_unit) {
            Some(unit) if text.parse::<f64>().is_ok() => parse(&format!("{text} {unit}")),
            _ => parse(&text),
        };
        match parsed {
            Ok(value) => Ok(Some(value)),
            Err(misread) => {
                let right = match (column_unit, column) {
                    (None, Column::Reference | Column::Uncertainty) if text.parse::<f64>().is_ok() => {
                        format!(
                            "{}, or `{} [{}]` in the first line",
                            misread.right,
                            column.name(self.table.target),
                            self.unit(column)
                        )
                    }
                    _ => misread.right,
                };
                self.note(cell, misread.what, right)
            }
        }
    }

    fn unit(&self, column: Column) -> &'static str {
        let target = self.table.target;
        let dimension: Dimension = if column == Column::Reference { target.reference() } else { target.difference() };
        dimension.usual_unit().symbol()
    }
}

/// The cells of a line, without blanks and quotes about them.
fn cells(text: &str, line: Cell, separator: char) -> impl Iterator<Item = Cell> + '_ {
    let mut is_quoted = false;
    let mut start = line.start;
    let is_border = move |sign: char| {
        is_quoted ^= sign == '"';
        sign == separator && !is_quoted
    };
    text[line].split(is_border).map(move |cell| {
        let begin = start;
        start += cell.len() + separator.len_utf8();
        bare(text, begin..begin + cell.len())
    })
}

fn bare(text: &str, cell: Cell) -> Cell {
    let trim = |cell: Cell| {
        let inner = &text[cell.clone()];
        let start = cell.start + (inner.len() - inner.trim_start().len());
        start..start + inner.trim().len()
    };
    let cell = trim(cell);
    match text[cell.clone()].strip_prefix('"').and_then(|rest| rest.strip_suffix('"')) {
        Some(_) => trim(cell.start + 1..cell.end - 1),
        None => cell,
    }
}

/// `reference [V]` is `reference` in `V`.
fn split_unit(name: &str) -> (&str, Option<&str>) {
    let split = |open: char, close: char| {
        let (base, unit) = name.strip_suffix(close)?.rsplit_once(open)?;
        Some((base.trim(), Some(unit.trim()).filter(|unit| !unit.is_empty())))
    };
    split('[', ']').or_else(|| split('(', ')')).unwrap_or((name, None))
}

impl Target {
    /// Standard uncertainty of a count: what its reading leaves, and of the clock that of a stamp.
    pub fn counted(&self, of_reading: f64) -> f64 {
        match self {
            Self::Clock(clock) => of_reading.hypot(clock.stamp_uncertainty * clock.ticks_per_second as f64),
            Self::Sample(_) | Self::Encoder(_) => of_reading,
        }
    }
}

/// What is wrong with the readings of a table as a whole, at its first line.
pub fn of_the_whole(source: &Source, mistake: Mistake) -> Problem {
    Problem::new(source, lines(source.text()).next().map_or(0..0, |(_, head)| head), "", mistake.what, mistake.right)
}

#[cfg(test)]
mod tests;
