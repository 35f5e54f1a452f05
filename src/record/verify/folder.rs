//! One run's folder against its own seal.
//!
//! The seal's files keep watch on each other: `seal.json` carries its own check and the digest of every file, `digests.sha256`
//! has the same digests and that of `seal.json`. So whichever single one of them was changed, the others say which it was.

use super::listing::{Entry, bytes, digest, listing};
use super::{Finding, Kind};
use crate::record::fetched::Foreign;
use crate::record::seal::{self, DIGESTS, Damage, Digests, Head, PublicKey, SEAL, SIGNATURE, Seal};
use std::collections::{BTreeMap, HashMap};
use std::io;
use std::path::{Path, PathBuf};

/// No seal of ours is longer; a longer file is not one.
const BYTES_MAX: u64 = 16_000_000;

/// A run's folder as it was found.
#[derive(Debug)]
pub struct Found {
    pub path: PathBuf,
    /// Its seal, where it is sound.
    pub seal: Option<Seal>,
    /// Who signed the manifest, where that is proven.
    pub signer: Option<PublicKey>,
    /// Where the run stands in its bench's chain.
    pub head: Option<Head>,
    /// What is not as it was sealed.
    pub findings: Vec<Finding>,
}

impl Found {
    /// Files of a run that was fetched from elsewhere, and that were left there, are not missing.
    pub(super) fn stayed_elsewhere(&mut self, foreign: &HashMap<String, Foreign>) {
        let Some(foreign) = self.head.as_ref().and_then(|head| foreign.get(&head.link.digest)) else { return };
        for finding in &mut self.findings {
            if finding.kind == Kind::Missing && foreign.without.iter().any(|name| self.path.join(name) == finding.path)
            {
                *finding = Finding::new(Kind::Remark, &finding.path, format!("it stayed at {}", foreign.bench));
            }
        }
    }
}

/// One of the seal's files.
enum Part {
    Bytes(Vec<u8>),
    Absent,
    /// It is there, and cannot be read or is no file.
    Hidden,
}

impl Part {
    fn bytes(&self) -> Option<&[u8]> {
        if let Self::Bytes(bytes) = self { Some(bytes) } else { None }
    }
}

struct Look<'a> {
    folder: &'a Path,
    entries: BTreeMap<String, Entry>,
    findings: Vec<Finding>,
}

/// Looks at a run's folder. `within` says that it was found in a results folder, where its place has to be right.
pub fn look(folder: &Path, within: bool) -> Found {
    let mut findings = Vec::new();
    let entries = listing(folder, &mut findings);
    if !findings.is_empty() {
        return Found { path: folder.to_owned(), seal: None, signer: None, head: None, findings };
    }
    let mut look = Look { folder, entries, findings };
    let (manifest, text, signature) = (look.part(DIGESTS), look.part(SEAL), look.part(SIGNATURE));
    let sealed = text.bytes().map(|text| (text, Seal::from_bytes(text)));
    let expected = match &sealed {
        Some((text, Ok(seal))) => Some(seal::manifest(&seal.digests(text)).into_bytes()),
        _ => None,
    };
    let signer = |over: Option<&[u8]>| seal::signer(over?, signature.bytes()?);
    let as_it_stands = signer(manifest.bytes());
    let sound = match sealed.map(|(_, seal)| seal) {
        // What is signed counts more than what only agrees with itself.
        Some(Ok(_)) if as_it_stands.is_some() && expected.as_deref() != manifest.bytes() => Some(Err(Damage::Changed)),
        sound => sound,
    };
    let (seal, digests) = look.authority(sound, &text, &manifest);
    let expected = expected.filter(|_| seal.is_some());
    if let Some(digests) = &digests {
        look.files(digests, seal.as_ref());
    }
    if let (Some(expected), Some(manifest)) = (&expected, manifest.bytes())
        && expected != manifest
    {
        look.tell(Kind::Changed, DIGESTS, "it is not the list of what was sealed");
    }
    let signer = as_it_stands.or_else(|| signer(expected.as_deref()));
    if let Some(seal) = &seal {
        look.signature(&signature, signer, seal);
    }
    let head = seal.as_ref().zip(expected).map(|(seal, expected)| seal.head(&expected));
    if let Some(seal) = &seal {
        look.place(seal, within);
    }
    Found { path: folder.to_owned(), seal, signer, head, findings: look.findings }
}

impl Look<'_> {
    fn tell(&mut self, kind: Kind, file: &str, says: impl Into<String>) {
        self.findings.push(Finding::new(kind, &self.folder.join(file), says));
    }

    fn part(&mut self, name: &str) -> Part {
        match self.entries.get(name) {
            None => Part::Absent,
            Some(Entry::Strange) => {
                self.tell(Kind::Changed, name, "it is no plain file any more");
                Part::Hidden
            }
            Some(Entry::File) => match bytes(&self.folder.join(name), BYTES_MAX) {
                Ok(bytes) => Part::Bytes(bytes),
                Err(error) => {
                    self.tell(Kind::Unreadable, name, error.to_string());
                    Part::Hidden
                }
            },
        }
    }

    /// Which digests count: those of the seal where it is sound, else those of the manifest.
    fn authority(
        &mut self,
        sound: Option<Result<Seal, Damage>>,
        text: &Part,
        manifest: &Part,
    ) -> (Option<Seal>, Option<Digests>) {
        let lines = manifest.bytes().map(seal::digests_of);
        if matches!(manifest, Part::Absent) {
            self.tell(Kind::Missing, DIGESTS, "");
        }
        match sound {
            Some(Ok(seal)) => {
                let digests = seal.files.iter().map(|file| (file.file.clone(), file.sha256.clone())).collect();
                return (Some(seal), Some(digests));
            }
            Some(Err(Damage::Changed)) => self.tell(Kind::Changed, SEAL, "it is not what was sealed"),
            Some(Err(Damage::Unknown)) => {
                self.tell(Kind::Unreadable, SEAL, "this version of railproof does not understand it");
            }
            None => {
                let is_listed = lines.as_ref().is_none_or(|lines| lines.contains_key(SEAL));
                if matches!(text, Part::Absent) && is_listed {
                    self.tell(Kind::Missing, SEAL, "");
                } else if matches!(text, Part::Absent) {
                    self.findings.push(Finding::new(
                        Kind::Unsealed,
                        self.folder,
                        "it was kept before there were seals",
                    ));
                }
            }
        }
        let digests = lines.map(|mut lines| {
            lines.remove(SEAL);
            lines
        });
        (None, digests)
    }

    /// Whether the signature is that of the key that the seal names.
    fn signature(&mut self, file: &Part, signer: Option<PublicKey>, seal: &Seal) {
        match (file, &seal.key) {
            (Part::Absent, Some(_)) => self.tell(Kind::Missing, SIGNATURE, ""),
            (Part::Bytes(_), None) => self.tell(Kind::Added, SIGNATURE, "the run was sealed without a key"),
            (Part::Bytes(_), Some(key)) if signer.is_none_or(|signer| signer.fingerprint() != *key) => {
                self.tell(Kind::Changed, SIGNATURE, format!("it is not a signature with {key} over what was sealed"));
            }
            _ => {}
        }
    }

    /// Every file against the digests, and the digests against every file.
    fn files(&mut self, digests: &Digests, seal: Option<&Seal>) {
        for (name, expected) in digests {
            let sealed = seal.and_then(|seal| seal.file(name));
            match self.entries.get(name) {
                None => self.tell(Kind::Missing, name, ""),
                Some(Entry::Strange) => self.tell(Kind::Changed, name, "it is no plain file any more"),
                Some(Entry::File) => match digest(&self.folder.join(name)) {
                    Ok((found, length)) if found != *expected => {
                        let sealed = sealed.map(|file| file.bytes).filter(|sealed| *sealed != length);
                        let says = sealed.map(|sealed| format!("{length} bytes instead of {sealed}"));
                        self.tell(Kind::Changed, name, says.unwrap_or_default());
                    }
                    Ok(_) => {}
                    Err(error) => self.unreadable(name, &error),
                },
            }
        }
        let is_own = |name: &str| [DIGESTS, SEAL, SIGNATURE].contains(&name);
        let added = self.entries.keys().filter(|name| !digests.contains_key(*name) && !is_own(name));
        for name in added.cloned().collect::<Vec<_>>() {
            self.tell(Kind::Added, &name, "");
        }
    }

    fn unreadable(&mut self, name: &str, error: &io::Error) {
        self.tell(Kind::Unreadable, name, error.to_string());
    }

    /// Whether the run stands where its seal says.
    fn place(&mut self, seal: &Seal, within: bool) {
        let named =
            |path: Option<&Path>| path.and_then(Path::file_name).and_then(|name| name.to_str()).map(str::to_owned);
        let (run, serial) = (named(Some(self.folder)), named(self.folder.parent()));
        // A folder that was given alone may be a copy under another name.
        let is_named = within || run.as_deref().is_some_and(|run| uuid::Uuid::try_parse(run).is_ok());
        let in_place = run.as_deref() == Some(&seal.run) && (!within || serial.as_deref() == Some(&seal.serial));
        if is_named && !in_place {
            let says = format!("what stands here is the run {} of {}", seal.run, seal.serial);
            self.findings.push(Finding::new(Kind::Moved, self.folder, says));
        }
    }
}
