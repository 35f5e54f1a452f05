//! What a look at sealed runs can find.

use std::path::{Path, PathBuf};

/// What was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A file, or a whole run, that the seals name is not there.
    Missing,
    /// A file that no seal names is there.
    Added,
    /// A file, or a whole run, is not what was sealed.
    Changed,
    /// A run stands in another one's place.
    Moved,
    /// Two runs say that they are the same one of a bench.
    Forked,
    /// It cannot be read.
    Unreadable,
    /// The run was kept before there were seals.
    Unsealed,
    /// It was sealed without a key, where keys are trusted.
    Unsigned,
    /// It is signed with a key that is not trusted for it.
    UnknownKey,
    /// Worth knowing; nothing is concluded from it.
    Remark,
}

/// What a finding means for the whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Nothing.
    Remark,
    /// It is not proven that all is as it was.
    Unproven,
    /// It could not be seen.
    Unreadable,
    /// It is proven that something is not as it was.
    Difference,
}

impl Kind {
    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Missing => "missing",
            Self::Added => "added",
            Self::Changed => "changed",
            Self::Moved => "moved",
            Self::Forked => "forked",
            Self::Unreadable => "unreadable",
            Self::Unsealed => "unsealed",
            Self::Unsigned => "unsigned",
            Self::UnknownKey => "unknown key",
            Self::Remark => "remark",
        }
    }

    /// What it means for the whole.
    pub const fn weight(self) -> Weight {
        match self {
            Self::Missing | Self::Added | Self::Changed | Self::Moved | Self::Forked => Weight::Difference,
            Self::Unreadable => Weight::Unreadable,
            Self::Unsealed | Self::Unsigned | Self::UnknownKey => Weight::Unproven,
            Self::Remark => Weight::Remark,
        }
    }
}

/// One thing that was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    pub kind: Kind,
    /// The file, the run's folder, or where that would stand.
    pub path: PathBuf,
    /// What is known beyond that.
    pub says: String,
}

impl Finding {
    pub fn new(kind: Kind, path: &Path, says: impl Into<String>) -> Self {
        Self { kind, path: path.to_owned(), says: says.into() }
    }
}
