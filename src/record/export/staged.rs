//! How an export gets onto disk: whole or not at all.
//!
//! It is written into a folder beside its place, `.NAME.part`. Of an earlier export, the partitions that stay are linked
//! into it. Then the two change places in one step, and what was there before is removed. So a reader finds either the old
//! export or the new one, whatever happens in between. A list within the export says which files are its own: nothing else
//! is ever removed.

use super::partition::Partition;
use super::{ExportError, FORMAT, Form, TABLES};
use crate::record::index::Wanted;
use crate::record::writer::{is_still_there, sync_folder};
use rustix::fs::{CWD, FlockOperation, RenameFlags, flock, renameat_with};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// The list of an export's files.
pub const LIST: &str = "export.json";
/// No honest list is longer, bytes.
const LIST_BYTES_MAX: u64 = 64 << 20;

/// What the list holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct List {
    /// [`FORMAT`].
    pub format: u32,
    /// Version of railproof.
    pub railproof: String,
    pub form: Form,
    /// What was asked for beside model and dates.
    pub only: BTreeMap<String, String>,
    pub files: Vec<Listed>,
}

/// A file of an export.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Listed {
    /// Relative to the export.
    pub file: String,
    pub table: String,
    #[serde(flatten)]
    pub partition: Partition,
    pub rows: u64,
}

/// An export that is being written. Dropped unfinished, it leaves nothing.
pub struct Staged {
    home: PathBuf,
    part: PathBuf,
    /// Says that somebody is at it.
    lock: File,
    /// What stands at its place.
    before: Option<List>,
    list: List,
}

/// What became of an export's place.
pub struct Placed {
    pub partitions: usize,
    /// Partitions of an earlier export that were replaced or fell away.
    pub replaced: usize,
    /// Those that stay as they were.
    pub kept: usize,
}

impl Staged {
    /// Begins an export to a place.
    ///
    /// # Errors
    /// Something is there that this export must not replace; another one is going on; whatever the disk says.
    pub fn begin(to: &Path, results: &Path, form: Form, wanted: &Wanted) -> Result<Self, ExportError> {
        let home = place(to)?;
        let results = fs::canonicalize(results).map_err(|said| ExportError::disk("find", results, said))?;
        if home.starts_with(&results) {
            return Err(ExportError::AmongRecords { path: home, results });
        }
        let list = List {
            format: FORMAT,
            railproof: env!("CARGO_PKG_VERSION").to_owned(),
            form,
            only: only(wanted),
            files: Vec::new(),
        };
        let before = earlier(&home, &list)?;
        let name = home.file_name().unwrap_or_default().to_string_lossy();
        let part = home.with_file_name(format!(".{name}.part"));
        let lock = claim(&part)?;
        let mut staged = Self { home, part, lock, before, list };
        staged.clear()?;
        Ok(staged)
    }

    /// Its form.
    pub fn form(&self) -> Form {
        self.list.form
    }

    /// Forgets what was written so far, and what a dead export left.
    ///
    /// # Errors
    /// Something that no export left; whatever the disk says.
    pub fn clear(&mut self) -> Result<(), ExportError> {
        self.list.files.clear();
        let disk = |said| ExportError::disk("clear the folder", &self.part, said);
        for entry in fs::read_dir(&self.part).map_err(disk)? {
            let (name, path) = entry.map(|entry| (entry.file_name(), entry.path())).map_err(disk)?;
            if name == LIST {
                fs::remove_file(&path).map_err(disk)?;
            } else if TABLES.iter().any(|table| name == *table) {
                fs::remove_dir_all(&path).map_err(disk)?;
            } else {
                return Err(ExportError::NotOurs { path });
            }
        }
        Ok(())
    }

    /// Whether a table has a file in a partition.
    pub fn has(&self, table: &str, partition: &Partition) -> bool {
        self.files_of(table, partition).next().is_some()
    }

    fn files_of(&self, table: &str, partition: &Partition) -> impl Iterator<Item = &Listed> {
        self.list.files.iter().filter(move |listed| listed.table == table && listed.partition == *partition)
    }

    /// A new file of a table.
    ///
    /// # Errors
    /// Whatever the disk says.
    pub fn create(&mut self, table: &str, partition: &Partition, rows: u64) -> Result<(PathBuf, File), ExportError> {
        let number = self.files_of(table, partition).count();
        let file = format!("{table}/{}/part-{number}.{}", partition.folder(), self.list.form.ending());
        let path = self.part.join(&file);
        let made = make_parents(&path).and_then(|()| File::create_new(&path));
        let made = made.map_err(|said| ExportError::disk("write", &path, said))?;
        self.list.files.push(Listed { file, table: table.to_owned(), partition: partition.clone(), rows });
        Ok((path, made))
    }

    /// Puts it into its place.
    ///
    /// # Errors
    /// Whatever the disk says; what was there before is there still.
    pub fn finish(mut self, wanted: &Wanted) -> Result<Placed, ExportError> {
        let new = self.partitions().len();
        let before = self.before.take();
        let (gone, kept): (Vec<Listed>, Vec<Listed>) =
            before.iter().flat_map(|list| list.files.clone()).partition(|listed| listed.partition.is_covered(wanted));
        let count = |files: &[Listed]| files.iter().map(|listed| &listed.partition).collect::<BTreeSet<_>>().len();
        let (replaced, kept_partitions) = (count(&gone), count(&kept));
        for listed in kept {
            let (from, to) = (self.home.join(&listed.file), self.part.join(&listed.file));
            let linked = make_parents(&to).and_then(|()| fs::hard_link(&from, &to).or_else(|_| copy(&from, &to)));
            linked.map_err(|said| ExportError::disk("link or copy", &from, said))?;
            self.list.files.push(listed);
        }
        self.write_list()?;
        self.sync_folders()?;
        // Held until it is removed from where others look for a place to write into.
        let before_held = File::open(&self.home).ok();
        if let Some(held) = &before_held {
            let locked = flock(held, FlockOperation::NonBlockingLockExclusive);
            locked.map_err(|_| ExportError::Busy { path: self.home.clone() })?;
        }
        let is_there = before_held.is_some();
        self.swap(is_there).map_err(|said| ExportError::disk("move the export to", &self.home, said))?;
        if let Some(parent) = self.home.parent() {
            sync_folder(parent)
                .map_err(|error| ExportError::disk("bring to the disk", parent, io::Error::other(error)))?;
        }
        if is_there {
            // What cannot be removed is found by the next export.
            remove(&self.part, before.as_ref());
        }
        Ok(Placed { partitions: new + kept_partitions, replaced, kept: kept_partitions })
    }

    fn partitions(&self) -> BTreeSet<&Partition> {
        self.list.files.iter().map(|listed| &listed.partition).collect()
    }

    fn write_list(&self) -> Result<(), ExportError> {
        let path = self.part.join(LIST);
        let text = serde_json::to_string_pretty(&self.list).unwrap_or_default() + "\n";
        let written = File::create_new(&path).and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.sync_all()
        });
        written.map_err(|said| ExportError::disk("write", &path, said))
    }

    fn sync_folders(&self) -> Result<(), ExportError> {
        let below = |listed: &Listed| {
            Path::new(&listed.file).ancestors().skip(1).map(|folder| self.part.join(folder)).collect::<Vec<_>>()
        };
        let mut folders: Vec<PathBuf> = self.list.files.iter().flat_map(below).collect();
        folders.sort_unstable();
        folders.dedup();
        folders.iter().rev().try_for_each(|folder| {
            sync_folder(folder).map_err(|error| ExportError::disk("bring to the disk", folder, io::Error::other(error)))
        })
    }

    /// Has the two folders change places in one step.
    fn swap(&self, is_there: bool) -> io::Result<()> {
        let flags = if is_there { RenameFlags::EXCHANGE } else { RenameFlags::NOREPLACE };
        match renameat_with(CWD, &self.part, CWD, &self.home, flags) {
            // Some file systems cannot: two steps then, between which there is no export at its place.
            Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS) => {
                let aside = self.part.with_extension("before");
                if is_there {
                    fs::rename(&self.home, &aside)?;
                }
                fs::rename(&self.part, &self.home)?;
                if is_there { fs::rename(&aside, &self.part) } else { Ok(()) }
            }
            done => Ok(done?),
        }
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        // What was put into its place has left nothing here, and another export may have begun.
        if is_still_there(&self.lock, &self.part) && self.clear().is_ok() {
            drop(fs::remove_dir(&self.part));
        }
    }
}

/// The place of an export, without links in its path.
fn place(to: &Path) -> Result<PathBuf, ExportError> {
    let disk = |said| ExportError::disk("make the folder", to, said);
    if let Ok(found) = fs::canonicalize(to) {
        return Ok(found);
    }
    let name = to.file_name().ok_or_else(|| disk(io::Error::other("it has no name")))?;
    let parent = match to.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    fs::create_dir_all(parent).map_err(disk)?;
    Ok(fs::canonicalize(parent).map_err(disk)?.join(name))
}

/// What was asked for beside model and dates, which choose partitions.
fn only(wanted: &Wanted) -> BTreeMap<String, String> {
    let Wanted { model: _, from: _, before: _, firmware, plan, revision, serial, .. } = wanted;
    let Wanted { bench, operator, part, check, value, decision, .. } = wanted;
    let part = part.as_ref().map(|part| format!("{}={}", part.name, part.lot));
    let value = value.as_ref().map(|value| {
        let limit = |limit: Option<f64>| limit.map_or_else(|| "any".into(), |limit| limit.to_string());
        format!("{} from {} to {}", value.measurand, limit(value.lower), limit(value.upper))
    });
    let decision = decision.map(|decision| serde_json::to_value(decision).unwrap_or_default());
    let decision = decision.and_then(|word| word.as_str().map(str::to_owned));
    let all = [
        ("firmware", firmware.clone()),
        ("plan", plan.clone()),
        ("revision", revision.map(|revision| revision.to_string())),
        ("serial", serial.clone()),
        ("bench", bench.clone()),
        ("operator", operator.clone()),
        ("part", part),
        ("check", check.clone()),
        ("value", value),
        ("decision", decision),
    ];
    all.into_iter().filter_map(|(name, wanted)| Some((name.to_owned(), wanted?))).collect()
}

/// The list of the export that is to be replaced, where there is one.
fn earlier(home: &Path, list: &List) -> Result<Option<List>, ExportError> {
    let disk = |said| ExportError::disk("look into", home, said);
    match fs::symlink_metadata(home) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Ok(found) if !found.is_dir() => return Err(ExportError::NoExport { path: home.to_owned() }),
        Ok(_) => {}
        Err(error) => return Err(disk(error)),
    }
    let found = files(home, Path::new("")).map_err(disk)?;
    if found.is_empty() {
        return Ok(None);
    }
    let text = File::open(home.join(LIST)).and_then(|file| {
        let mut text = Vec::new();
        file.take(LIST_BYTES_MAX).read_to_end(&mut text)?;
        Ok(text)
    });
    let text = text.map_err(|_| ExportError::NoExport { path: home.to_owned() })?;
    let stated: Stated = serde_json::from_slice(&text).map_err(|_| ExportError::NoExport { path: home.to_owned() })?;
    if stated.format != FORMAT {
        return Err(ExportError::OtherFormat { path: home.to_owned(), format: stated.format });
    }
    let before: List = serde_json::from_slice(&text).map_err(|_| ExportError::NoExport { path: home.to_owned() })?;
    let own: BTreeSet<&Path> =
        before.files.iter().map(|listed| Path::new(&listed.file)).chain([Path::new(LIST)]).collect();
    if let Some(stranger) = found.iter().find(|file| !own.contains(file.as_path())) {
        return Err(ExportError::NotOurs { path: home.join(stranger) });
    }
    if (before.form, &before.only) != (list.form, &list.only) {
        return Err(ExportError::OfOthers { path: home.to_owned(), is: before.described(), asked: list.described() });
    }
    Ok(Some(before))
}

/// What every version's list says.
#[derive(Deserialize)]
struct Stated {
    format: u32,
}

impl List {
    /// What it is of, in words.
    fn described(&self) -> String {
        let only = self.only.iter().map(|(name, wanted)| format!("{name} `{wanted}`")).collect::<Vec<_>>().join(", ");
        let only = if only.is_empty() { "all runs".to_owned() } else { format!("runs of {only}") };
        format!("{only} as {}", self.form.ending())
    }
}

/// The folder that an export is written into, held for it alone.
fn claim(part: &Path) -> Result<File, ExportError> {
    let disk = |said| ExportError::disk("make the folder", part, said);
    match fs::create_dir(part) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
            // A link would lead elsewhere.
            if !fs::symlink_metadata(part).map_err(disk)?.is_dir() {
                return Err(ExportError::NotOurs { path: part.to_owned() });
            }
        }
        made => made.map_err(disk)?,
    }
    let lock = File::open(part).map_err(disk)?;
    let is_ours = flock(&lock, FlockOperation::NonBlockingLockExclusive).is_ok() && is_still_there(&lock, part);
    if is_ours { Ok(lock) } else { Err(ExportError::Busy { path: part.to_owned() }) }
}

fn make_parents(path: &Path) -> io::Result<()> {
    path.parent().map_or(Ok(()), fs::create_dir_all)
}

fn copy(from: &Path, to: &Path) -> io::Result<()> {
    fs::copy(from, to)?;
    File::open(to)?.sync_all()
}

/// All files below a folder, relative to it.
fn files(folder: &Path, below: &Path) -> io::Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder.join(below))? {
        let entry = entry?;
        let path = below.join(entry.file_name());
        if entry.file_type()?.is_dir() { found.extend(files(folder, &path)?) } else { found.push(path) }
    }
    Ok(found)
}

/// Removes the files of an export and the folders that are empty then, and nothing else.
fn remove(folder: &Path, list: Option<&List>) {
    let mut folders = BTreeSet::from([folder.to_owned()]);
    for file in list.iter().flat_map(|list| &list.files).map(|listed| listed.file.as_str()).chain([LIST]) {
        let path = folder.join(file);
        drop(fs::remove_file(&path));
        folders.extend(path.ancestors().skip(1).take_while(|above| *above != folder).map(Path::to_owned));
    }
    folders.iter().rev().for_each(|folder| drop(fs::remove_dir(folder)));
}
