//! The rows of one table, held by partition until there are many.

use super::fleet::Fleet;
use super::staged::Staged;
use super::table::Row;
use super::{ExportError, FORMAT, Form, csv, parquet};

/// Rows of a table that are held at most. Then those of the largest partition become a file, so that files are few and
/// large.
const HELD_MAX: usize = 1 << 20;

/// A table as it is written.
pub struct Sheet<R> {
    waiting: Vec<Vec<R>>,
    held: usize,
    pub rows: u64,
}

impl<R> Default for Sheet<R> {
    fn default() -> Self {
        Self { waiting: Vec::new(), held: 0, rows: 0 }
    }
}

impl<R: Row> Sheet<R> {
    /// Adds a row to the partition of its run.
    pub fn add(&mut self, run: u32, row: R, fleet: &Fleet, staged: &mut Staged) -> Result<(), ExportError> {
        let partition = fleet.runs[run as usize].partition as usize;
        if self.waiting.len() <= partition {
            self.waiting.resize_with(partition + 1, Vec::new);
        }
        self.waiting[partition].push(row);
        (self.held, self.rows) = (self.held + 1, self.rows + 1);
        if self.held < HELD_MAX {
            return Ok(());
        }
        let largest = (0..self.waiting.len()).max_by_key(|partition| self.waiting[*partition].len());
        self.write(largest.unwrap_or(partition), fleet, staged)
    }

    /// Writes what is held. A table without rows in a partition has a file all the same, which tells its columns.
    pub fn finish(&mut self, fleet: &Fleet, staged: &mut Staged) -> Result<(), ExportError> {
        self.waiting.resize_with(fleet.partitions.len(), Vec::new);
        (0..fleet.partitions.len()).try_for_each(|partition| {
            if self.waiting[partition].is_empty() && staged.has(R::TABLE, &fleet.partitions[partition]) {
                return Ok(());
            }
            self.write(partition, fleet, staged)
        })
    }

    fn write(&mut self, partition: usize, fleet: &Fleet, staged: &mut Staged) -> Result<(), ExportError> {
        let rows = std::mem::take(&mut self.waiting[partition]);
        self.held -= rows.len();
        let (path, file) = staged.create(R::TABLE, &fleet.partitions[partition], rows.len() as u64)?;
        let written = match staged.form() {
            Form::Parquet => parquet::write(&file, &rows, fleet, &notes::<R>()),
            Form::Csv => csv::write(&file, &rows, fleet),
        };
        written.and_then(|()| file.sync_all()).map_err(|said| ExportError::disk("write", &path, said))
    }
}

/// What a file says of itself.
fn notes<R: Row>() -> [(&'static str, String); 3] {
    [
        ("railproof.format", FORMAT.to_string()),
        ("railproof.table", R::TABLE.to_owned()),
        ("railproof.version", env!("CARGO_PKG_VERSION").to_owned()),
    ]
}
