//! Rows as a Parquet file: one row group, compressed with zstd, a column at a time.
//!
//! Format version 1 of the pages, which every reader knows. Texts are dictionaries, as they recur.

use super::fleet::Fleet;
use super::table::{Cell, Column, Kind, Row};
use ::parquet::basic::{Compression, ZstdLevel};
use ::parquet::data_type::{BoolType, ByteArrayType, DataType, DoubleType, Int64Type};
use ::parquet::errors::{ParquetError, Result};
use ::parquet::file::metadata::KeyValue;
use ::parquet::file::properties::{WriterProperties, WriterPropertiesPtr};
use ::parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use ::parquet::schema::parser::parse_message_type;
use std::fs::File;
use std::io;
use std::sync::Arc;

/// Rows whose cells are looked up at once.
const BATCH: usize = 8192;
/// As small as the higher levels within a few per cent, in a fraction of their time.
const LEVEL: i32 = 3;

/// Writes the rows of a partition.
pub fn write<R: Row>(file: &File, rows: &[R], fleet: &Fleet, notes: &[(&str, String)]) -> io::Result<()> {
    written(file, rows, fleet, notes).map_err(|error| match error {
        ParquetError::External(inner) => match inner.downcast::<io::Error>() {
            Ok(said) => *said,
            Err(other) => io::Error::other(other),
        },
        other => io::Error::other(other),
    })
}

fn written<R: Row>(file: &File, rows: &[R], fleet: &Fleet, notes: &[(&str, String)]) -> Result<()> {
    let schema = Arc::new(parse_message_type(&message::<R>())?);
    let mut writer = SerializedFileWriter::new(file, schema, properties(notes)?)?;
    let mut group = writer.next_row_group()?;
    for column in R::COLUMNS {
        let mut into = group.next_column()?.ok_or_else(|| ParquetError::General("a column too few".into()))?;
        let cells = |rows: &[R]| rows.iter().map(|row| (column.cell)(row, fleet)).collect::<Vec<_>>();
        for rows in rows.chunks(BATCH) {
            cells_of(&mut into, column, cells(rows))?;
        }
        into.close()?;
    }
    group.close()?;
    writer.close().map(drop)
}

fn properties(notes: &[(&str, String)]) -> Result<WriterPropertiesPtr> {
    let notes = notes.iter().map(|(key, value)| KeyValue::new((*key).to_owned(), value.clone()));
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(LEVEL)?))
        .set_created_by(concat!("railproof version ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_key_value_metadata(Some(notes.collect()));
    Ok(Arc::new(properties.build()))
}

/// The schema in Parquet's own words.
fn message<R: Row>() -> String {
    let columns = R::COLUMNS.iter().map(|column| {
        let repetition = if column.may_be_unknown { "OPTIONAL" } else { "REQUIRED" };
        let name = column.name;
        match column.kind {
            Kind::Text => format!("{repetition} BYTE_ARRAY {name} (STRING);"),
            Kind::Whole => format!("{repetition} INT64 {name};"),
            Kind::Number => format!("{repetition} DOUBLE {name};"),
            Kind::Flag => format!("{repetition} BOOLEAN {name};"),
            Kind::Moment => format!("{repetition} INT64 {name} (TIMESTAMP(MILLIS,true));"),
        }
    });
    format!("message {} {{ {} }}", R::TABLE, columns.collect::<Vec<_>>().join(" "))
}

fn cells_of<R: Row>(into: &mut SerializedColumnWriter<'_>, column: &Column<R>, cells: Vec<Cell>) -> Result<()> {
    let known = column.may_be_unknown.then(|| cells.iter().map(|cell| i16::from(*cell != Cell::Unknown)).collect());
    match column.kind {
        Kind::Text => put::<ByteArrayType>(into, known, cells, |cell| match cell {
            Cell::Text(text) => Some(text),
            _ => None,
        }),
        Kind::Whole | Kind::Moment => put::<Int64Type>(into, known, cells, |cell| match cell {
            Cell::Whole(number) | Cell::Moment(number) => Some(number),
            _ => None,
        }),
        Kind::Number => put::<DoubleType>(into, known, cells, |cell| match cell {
            Cell::Number(number) => Some(number),
            _ => None,
        }),
        Kind::Flag => put::<BoolType>(into, known, cells, |cell| match cell {
            Cell::Flag(flag) => Some(flag),
            _ => None,
        }),
    }
}

/// Writes the cells that are known. One of another kind than its column's makes their number differ from what `known`
/// says, which the writer refuses.
fn put<T: DataType>(
    into: &mut SerializedColumnWriter<'_>,
    known: Option<Vec<i16>>,
    cells: Vec<Cell>,
    value: impl Fn(Cell) -> Option<T::T>,
) -> Result<()> {
    let rows = cells.len();
    let values: Vec<T::T> = cells.into_iter().filter_map(value).collect();
    if known.is_none() && values.len() != rows {
        return Err(ParquetError::General("a column that is always known has a cell that is not".into()));
    }
    into.typed::<T>().write_batch(&values, known.as_deref(), None).map(drop)
}
