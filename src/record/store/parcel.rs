//! A run as it goes to the store: looked at as `verify` does, and every byte of it held against its seal on the way.

use crate::record::index::Facts;
use crate::record::seal::{DIGESTS, PublicKey, SEAL, SIGNATURE, Seal, Trust, digest};
use crate::record::verify::{Weight, look, plain_bytes};
use std::path::Path;

/// The folder of captures inside a run's folder.
pub(super) const CAPTURES: &str = "captures/";
/// A longer capture stays at the bench, bytes: a database takes it only in one piece.
pub(super) const CAPTURE_MAX: u64 = 500_000_000;
/// No other file of a run is longer.
const FILE_MAX: u64 = 256 << 20;

/// A run that may go.
pub(super) struct Parcel {
    pub facts: Facts,
    pub seal: Seal,
    /// Digest of its manifest.
    pub head: String,
    /// By name.
    pub files: Vec<Enclosed>,
    /// Why its signature is not to be believed, where there is a trust file.
    pub objection: Option<String>,
}

/// A file of it.
pub(super) struct Enclosed {
    pub name: String,
    pub sha256: String,
    pub bytes: u64,
    /// None where it stays at the bench.
    pub content: Option<Vec<u8>>,
}

impl Parcel {
    /// Reads a run's folder; otherwise what is wrong with it.
    pub fn pack(folder: &Path, with_captures: bool, trust: Option<&Trust>) -> Result<Self, String> {
        let found = look(folder, true);
        if let Some(finding) = found.findings.iter().find(|finding| finding.kind.weight() > Weight::Remark) {
            let what = finding.path.strip_prefix(folder).unwrap_or(&finding.path).display();
            return Err([finding.kind.word(), &format!("{what}"), &finding.says]
                .into_iter()
                .filter(|word| !word.is_empty())
                .collect::<Vec<_>>()
                .join(": "));
        }
        let (Some(seal), Some(head)) = (found.seal, found.head) else { return Err("it has no seal".into()) };
        let mut files = Vec::with_capacity(seal.files.len() + 3);
        for file in &seal.files {
            let (name, sha256, bytes) = (file.file.clone(), file.sha256.clone(), file.bytes);
            let is_capture = name.starts_with(CAPTURES);
            let stays = is_capture && (!with_captures || bytes > CAPTURE_MAX);
            let content = if stays { None } else { Some(content(folder, &name, Some(&sha256))?) };
            files.push(Enclosed { name, sha256, bytes, content });
        }
        for name in [SEAL, DIGESTS, SIGNATURE].into_iter().filter(|name| folder.join(name).exists()) {
            let content = content(folder, name, None)?;
            let (sha256, bytes) = (digest(&content), content.len() as u64);
            files.push(Enclosed { name: name.to_owned(), sha256, bytes, content: Some(content) });
        }
        let manifest = files.iter().find(|file| file.name == DIGESTS);
        if manifest.is_none_or(|manifest| manifest.sha256 != head.link.digest) {
            return Err(format!("changed: {DIGESTS}: somebody changed it just now"));
        }
        let record = files.iter().find(|file| file.name == "record.json").and_then(|file| file.content.as_deref());
        let facts = Facts::parse(record.ok_or("it has no record.json")?)?;
        if facts.run.id != seal.run || facts.run.serial != seal.serial {
            return Err(format!("its record is that of {}, run {}", facts.run.serial, facts.run.id));
        }
        let objection = trust.and_then(|trust| objection(trust, &seal, found.signer));
        Ok(Self { facts, head: head.link.digest, seal, files, objection })
    }
}

/// Why a seal's signature is not to be believed.
pub(super) fn objection(trust: &Trust, seal: &Seal, signer: Option<PublicKey>) -> Option<String> {
    match signer {
        Some(signer) => trust.objection(&seal.bench, signer, seal.sealed_at()),
        None => Some("sealed without a key".into()),
    }
}

/// What is in a file, if it is still what was sealed.
pub(super) fn content(folder: &Path, name: &str, sealed: Option<&str>) -> Result<Vec<u8>, String> {
    let most = if name.starts_with(CAPTURES) { CAPTURE_MAX } else { FILE_MAX };
    let bytes = plain_bytes(&folder.join(name), most + 1).map_err(|error| format!("unreadable: {name}: {error}"))?;
    if bytes.len() as u64 > most {
        return Err(format!("{name} is longer than any honest file of its kind"));
    }
    if sealed.is_some_and(|sealed| digest(&bytes) != sealed) {
        return Err(format!("changed: {name}: somebody changed it just now"));
    }
    Ok(bytes)
}
