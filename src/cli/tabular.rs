//! Tables of others (RFC 4180), for studies: heads in the first row, then one row a line.

use super::{Exit, Failure};
use anyhow::anyhow;
use std::path::Path;

/// No study takes more rows from a file.
const ROWS_MAX: usize = 5_000_000;

/// A table.
pub struct Tabular {
    name: String,
    pub heads: Vec<String>,
    /// Line of the file, and cells.
    pub rows: Vec<(u64, Vec<String>)>,
}

impl Tabular {
    /// Reads a file. Commas, semicolons or tabs part its cells, whichever the heads have most of.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|error| {
            Failure::new(Exit::BadInput, anyhow!("{name}: cannot be read: {error}; check the path and the rights"))
        })?;
        Self::parse(&name, &text)
    }

    fn parse(name: &str, text: &str) -> Result<Self, Failure> {
        let wrong = |line: u64, why: String| Failure::new(Exit::BadInput, anyhow!("{name}:{line}: {why}"));
        let text = text.trim_start_matches('\u{feff}');
        let first = text.lines().next().unwrap_or_default();
        let count = |separator: u8| first.bytes().filter(|byte| *byte == separator).count();
        let separator = [b',', b';', b'\t'].into_iter().max_by_key(|separator| (count(*separator), *separator == b','));
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator.unwrap_or(b','))
            .trim(csv::Trim::All)
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        let told = |error: &csv::Error| wrong(error.position().map_or(1, csv::Position::line), shape(error));
        let heads = reader.headers().map_err(|error| told(&error))?.iter().map(str::to_lowercase).collect();
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(|error| told(&error))?;
            if rows.len() == ROWS_MAX {
                return Err(wrong(1, format!("there are more than {ROWS_MAX} rows")));
            }
            let line = record.position().map_or(0, csv::Position::line);
            rows.push((line, record.iter().map(str::to_owned).collect()));
        }
        Ok(Self { name: name.to_owned(), heads, rows })
    }

    /// The column of a head.
    pub fn column(&self, head: &str) -> Option<usize> {
        self.heads.iter().position(|known| known == head)
    }

    /// The same of a head that has to be there.
    pub fn wanted(&self, head: &str) -> Result<usize, Failure> {
        let heads = self.heads.join(", ");
        self.column(head)
            .ok_or_else(|| self.wrong(1, &format!("there is no column `{head}`; the columns are: {heads}")))
    }

    /// A cell as a number; none where it is empty.
    pub fn number(&self, (line, cells): &(u64, Vec<String>), column: usize) -> Result<Option<f64>, Failure> {
        let cell = cells.get(column).map_or("", String::as_str);
        if cell.is_empty() {
            return Ok(None);
        }
        let number: f64 = cell.parse().map_err(|_| self.wrong(*line, &format!("`{cell}` is no number")))?;
        if number.is_finite() {
            Ok(Some(number))
        } else {
            Err(self.wrong(*line, &format!("`{cell}` is no finite number")))
        }
    }

    /// What is wrong in a line.
    pub fn wrong(&self, line: u64, why: &str) -> Failure {
        Failure::new(Exit::BadInput, anyhow!("{}:{line}: {why}", self.name))
    }
}

fn shape(error: &csv::Error) -> String {
    match error.kind() {
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("this row has {len} cells, the heads have {expected_len}")
        }
        _ => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_read_whatever_parts_them_and_mistakes_have_a_line() {
        for text in ["a,b\n1,2\n,3\n", "a;b\n1;2\n;3\n", "\u{feff}A\tB\r\n1\t2\r\n\t3\r\n", "a,b\n# a note\n1,2\n,3\n"]
        {
            let table = Tabular::parse("t.csv", text).unwrap_or_else(|failure| panic!("{failure:?}"));
            assert_eq!((table.column("b"), table.rows.len()), (Some(1), 2), "{text}");
            assert_eq!(table.number(&table.rows[0], 1).ok(), Some(Some(2.0)));
            assert_eq!(table.number(&table.rows[1], 0).ok(), Some(None));
        }
        let said = |text: &str| match Tabular::parse("t.csv", text) {
            Err(failure) => failure.error.to_string(),
            Ok(table) => table.number(&table.rows[0], 0).map(drop).expect_err("it is none").error.to_string(),
        };
        assert_eq!(said("a,b\n1,2\n3\n"), "t.csv:3: this row has 1 cells, the heads have 2");
        assert_eq!(said("a\nx\n"), "t.csv:2: `x` is no number");
        assert_eq!(said("a\ninf\n"), "t.csv:2: `inf` is no finite number");
    }
}
