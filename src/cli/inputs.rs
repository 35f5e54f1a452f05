//! The files that a command reads: their bytes once, so that what is checked is also what is frozen beside the record.

use super::{Exit, Failure, say};
use crate::jig::JigFile;
use crate::unit::Unit;
use crate::written::{BYTES_MAX, Problem, Source, Style};
use anyhow::anyhow;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// A file as it was read.
pub struct InputFile {
    /// Its text with its name.
    pub source: Source,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

impl InputFile {
    /// Reads a file.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let name = path.display().to_string();
        let bytes = bytes(path).map_err(|error| {
            let why = anyhow!("{name}: cannot be read: {error}; check the path and the rights");
            Failure::new(Exit::BadInput, why)
        })?;
        match Source::from_bytes(&name, &bytes) {
            Ok(source) => Ok(Self { source, bytes }),
            Err(problem) => Err(refuse(&[*problem])),
        }
    }
}

/// The bytes of a file that is no longer than one of ours can be: a wrong path may lead to something without an end.
pub fn bytes(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(BYTES_MAX as u64 + 1).read_to_end(&mut bytes)?;
    if bytes.len() > BYTES_MAX {
        return Err(std::io::Error::other(format!(
            "it has more than {BYTES_MAX} bytes, which no plan or unit or jig file needs"
        )));
    }
    Ok(bytes)
}

/// Shows what is wrong with input files and ends the command.
pub fn refuse(problems: &[Problem]) -> Failure {
    for problem in problems {
        say(&format!("{}\n", problem.show(Style::Styled)));
    }
    let files: std::collections::BTreeSet<&str> = problems.iter().map(Problem::file).collect();
    let mistakes = if problems.len() == 1 { "1 mistake".into() } else { format!("{} mistakes", problems.len()) };
    let files: Vec<&str> = files.into_iter().collect();
    Failure::new(Exit::BadInput, anyhow!("{mistakes} in {}", files.join(", ")))
}

/// A unit file and a jig file; the mistakes of both are told together.
pub fn unit_and_jig(unit: &Path, jig: &Path) -> Result<(Unit, JigFile), Failure> {
    let (unit, jig) = (InputFile::read(unit)?, InputFile::read(jig)?);
    let mut problems = Vec::new();
    let unit = gather(Unit::read(&unit.source), &mut problems);
    let jig = gather(JigFile::read(&jig.source), &mut problems);
    unit.zip(jig).ok_or_else(|| refuse(&problems))
}

/// Keeps the value, or sets its problems aside so that all files are told about in one go.
pub fn gather<T>(read: Result<T, Vec<Problem>>, problems: &mut Vec<Problem>) -> Option<T> {
    read.map_err(|mut found| problems.append(&mut found)).ok()
}
