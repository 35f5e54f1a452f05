//! `railproof lint`: checks plans, unit files, jig files and population files without a bench, and whether they fit each other.

use super::inputs::bytes;
use super::{Exit, Failure, Format, print};
use crate::jig::JigFile;
use crate::plan::Draft;
use crate::rehearsal::Population;
use crate::run::envelope;
use crate::unit::Unit;
use crate::written::{Node, Notes, Problem, Source, Style, nearest, read};
use clap::Args;
use serde_json::json;
use std::path::{Path, PathBuf};

/// The files to check, and how to say what is wrong with them.
#[derive(Debug, Args)]
pub struct LintArgs {
    /// Plans, unit files, jig files and population files, told apart by their first key. Plans given together with unit files and jig files
    /// are checked against them, too
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Checks the files and prints what is wrong with them.
pub fn lint(args: &LintArgs) -> Result<Exit, Failure> {
    let mut files: Vec<Linted> = args.files.iter().map(|path| Linted::read(path)).collect();
    fit(&mut files);
    print(&match args.format {
        Format::Text => text(&files),
        Format::Json => json(&files),
    })?;
    let all_sound = files.iter().all(|file| file.problems.is_empty());
    Ok(if all_sound { Exit::Done } else { Exit::BadInput })
}

/// What a file turned out to be.
enum Contents {
    Plan(Draft),
    Unit(Box<Unit>),
    Jig(Box<JigFile>),
    Population,
}

/// A file and what is wrong with it.
struct Linted {
    file: String,
    kind: Option<Kind>,
    contents: Option<Contents>,
    problems: Vec<Problem>,
    takes: Vec<Takes>,
}

/// How long a plan takes on a bench that it fits, s of machine time.
struct Takes {
    jig: String,
    expected_s: f64,
    /// With all rounds of the checks that may repeat their moves.
    longest_s: f64,
    /// What it would look at on a jig that sees more.
    left_out: Vec<String>,
}

/// The kinds of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Plan,
    Unit,
    Jig,
    Population,
}

impl Kind {
    const ALL: [(&str, Kind); 4] =
        [("plan", Kind::Plan), ("unit", Kind::Unit), ("jig", Kind::Jig), ("population", Kind::Population)];

    fn words(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Unit => "unit file",
            Self::Jig => "jig file",
            Self::Population => "population file",
        }
    }
}

impl Linted {
    fn read(path: &Path) -> Self {
        let file = path.display().to_string();
        let source = match bytes(path) {
            Ok(bytes) => Source::from_bytes(&file, &bytes).map_err(|problem| vec![*problem]),
            Err(error) => {
                let what = format!("this file cannot be read: {error}");
                Err(vec![Problem::new(
                    &Source::new(&file, ""),
                    0..0,
                    "",
                    what,
                    "check its path and the rights to read it",
                )])
            }
        };
        let kind = source.and_then(|source| kind(&source).map(|kind| (source, kind)));
        let (source, kind) = match kind {
            Ok(both) => both,
            Err(problems) => return Self { file, kind: None, contents: None, problems, takes: Vec::new() },
        };
        let contents = match kind {
            Kind::Plan => Draft::read(&source).map(Contents::Plan),
            Kind::Unit => Unit::read(&source).map(|unit| Contents::Unit(Box::new(unit))),
            Kind::Jig => JigFile::read(&source).map(|jig| Contents::Jig(Box::new(jig))),
            Kind::Population => Population::read(&source).map(|_| Contents::Population),
        };
        match contents {
            Ok(contents) => {
                Self { file, kind: Some(kind), contents: Some(contents), problems: Vec::new(), takes: Vec::new() }
            }
            Err(problems) => Self { file, kind: Some(kind), contents: None, problems, takes: Vec::new() },
        }
    }
}

/// Which kind of file it is, by the key that names what it describes.
fn kind(source: &Source) -> Result<Kind, Vec<Problem>> {
    let notes = Notes::on(source);
    let root = read(&notes);
    let right = "begin the file with `plan:`, `unit:`, `jig:` or `population:` and a name";
    let kind = match &root {
        Some(Node::Map(map)) => {
            let found = Kind::ALL.into_iter().find(|(key, _)| map.get(key).is_some()).map(|(_, kind)| kind);
            let first = map.entries.first().map_or("", |(key, _)| key.text.as_str());
            if found.is_none() {
                let right = match nearest(first, Kind::ALL.map(|(key, _)| key)) {
                    Some(meant) => format!("did you mean `{meant}`?"),
                    None => right.into(),
                };
                notes.add(&map.at, "this is neither a plan nor a unit, jig or population file", right);
            }
            found
        }
        Some(other) => {
            notes.add(other.at(), format!("this file is {}, not a map of keys", other.kind()), right);
            None
        }
        None => None,
    };
    // A key that stands there twice is noted again, with all else, by whoever reads the whole file.
    kind.map_or_else(|| notes.finish(None), Ok)
}

/// Checks each plan against each jig and each unit of its model; a lone unit file is meant for every plan.
fn fit(files: &mut [Linted]) {
    let mut fitted = Vec::new();
    let units = || {
        files.iter().filter_map(|file| if let Some(Contents::Unit(unit)) = &file.contents { Some(unit) } else { None })
    };
    let jigs =
        || files.iter().filter_map(|file| if let Some(Contents::Jig(jig)) = &file.contents { Some(jig) } else { None });
    for (number, file) in files.iter().enumerate() {
        let Some(Contents::Plan(draft)) = &file.contents else { continue };
        let of_its_model = units().any(|unit| unit.model == draft.model());
        for unit in units().filter(|unit| !of_its_model || unit.model == draft.model()) {
            for jig in jigs() {
                let plan = draft.fit(&envelope(unit, jig));
                let takes = plan.map(|plan| Takes {
                    jig: jig.name.clone(),
                    expected_s: plan.expected_s(),
                    longest_s: plan.longest_s(),
                    left_out: plan.checks.iter().flat_map(|check| check.left_out.clone()).collect(),
                });
                fitted.push((number, takes));
            }
        }
    }
    for (number, plan) in fitted {
        let file = &mut files[number];
        match plan {
            Ok(takes) => file.takes.push(takes),
            Err(problems) => {
                for problem in problems {
                    if !file.problems.contains(&problem) {
                        file.problems.push(problem);
                    }
                }
            }
        }
    }
}

fn text(files: &[Linted]) -> String {
    let mut text = String::new();
    for file in files {
        for problem in &file.problems {
            text += &format!("{}\n\n", problem.show(Style::Styled));
        }
        let kind = file.kind.map_or("unknown kind of file", Kind::words);
        text += &match file.problems.len() {
            0 => format!("{}: {kind}, nothing wrong\n", file.file),
            1 => format!("{}: {kind}, 1 mistake\n", file.file),
            count => format!("{}: {kind}, {count} mistakes\n", file.file),
        };
        for Takes { jig, expected_s, longest_s, left_out } in &file.takes {
            let longest = if longest_s > expected_s {
                format!(", {longest_s:.0} s if every check takes all of its rounds")
            } else {
                String::new()
            };
            text +=
                &format!("{}: takes about {expected_s:.0} s of machine time on the jig `{jig}`{longest}\n", file.file);
            for one in left_out {
                text += &format!("{}: on the jig `{jig}`, {one}\n", file.file);
            }
        }
    }
    text
}

fn json(files: &[Linted]) -> String {
    let files: Vec<_> = files
        .iter()
        .map(|file| {
            let problems: Vec<_> = file
                .problems
                .iter()
                .map(|problem| {
                    json!({
                        "line": problem.line,
                        "column": problem.column,
                        "path": problem.path,
                        "what": problem.what,
                        "right": problem.right,
                    })
                })
                .collect();
            let takes: Vec<_> = file
                .takes
                .iter()
                .map(|Takes { jig, expected_s, longest_s, left_out }| {
                    json!({ "jig": jig, "expected_s": expected_s, "longest_s": longest_s, "left_out": left_out })
                })
                .collect();
            json!({ "file": file.file, "kind": file.kind.map(Kind::words), "problems": problems, "takes": takes })
        })
        .collect();
    format!("{:#}\n", json!({ "files": files }))
}
