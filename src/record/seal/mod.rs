//! The seal of a run: what was in its folder, in which order the bench's runs came, and who says so.
//!
//! Three files of a run's folder make it up. `seal.json` says which run of which bench it is, when it was sealed, how many runs
//! of that bench came before and which was the last, and how long each file is. `digests.sha256` has the SHA-256 of every file,
//! of `seal.json` too, so that `sha256sum --check` proves the folder. `digests.sha256.sig` is the bench's signature over
//! `digests.sha256`, which `ssh-keygen -Y verify` checks. The digest of `digests.sha256` is the run's head: the bench's next
//! seal names it, so that a run cannot be changed or taken out without the later ones telling.
//!
//! What this cannot show: that the newest runs of a bench were taken away together with what is kept in `.chains` of the
//! results folder, unless their head is known from elsewhere; and without a key, that somebody made all the seals anew.

mod chain;
mod checked;
mod digests;
mod key;
mod key_file;
mod link;
mod signature;
mod trust;
mod wire;

pub use chain::{Before, Chain, before, remembered};
pub use checked::Damage;
pub use digests::{DIGESTS, Digests, digest, digest_of, from_bytes as digests_of, is_digest, to_text as manifest};
pub use key::{BenchKey, PublicKey};
pub use key_file::{KeyError, load, make};
pub use link::{Head, Link};
pub use signature::{NAMESPACE, sign, signer};
pub use trust::{TRUST, Trust, line_for};

use super::writer::{check_run_id, check_serial, is_inside};
use crate::clock::Clock;
use digests::hexadecimal;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// Version of `seal.json`.
pub const FORMAT: u32 = 1;
/// Its name in a run's folder.
pub const SEAL: &str = "seal.json";
/// The signature's.
pub const SIGNATURE: &str = "digests.sha256.sig";

/// Who seals, and with what.
pub struct Sealing<'a> {
    /// The bench's name.
    pub bench: &'a str,
    /// Its key, where it has one.
    pub key: Option<&'a BenchKey>,
    /// The bench's clock: it says when.
    pub clock: &'a dyn Clock,
    /// How far that clock may be wrong, where somebody vouches for it.
    pub clock_uncertainty: Option<Duration>,
}

/// What `seal.json` says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    /// [`FORMAT`].
    pub format: u32,
    /// Serial number of the unit; the run's folder lies in a folder of that name.
    pub serial: String,
    /// Id of the run; its folder's name.
    pub run: String,
    /// Name of the bench.
    pub bench: String,
    /// Id of the first run of the chain, which tells chains of one bench in different results folders apart.
    pub chain: String,
    /// How many runs the chain has with this one.
    pub counter: u64,
    /// The run before.
    pub previous: Option<Link>,
    /// When, by the bench's clock, RFC 3339.
    pub sealed: String,
    /// How far that clock may be wrong, s; none where nobody vouches for it.
    pub clock_uncertainty_s: Option<f64>,
    /// Fingerprint of the key that signs; none where the bench has no key.
    pub key: Option<String>,
    /// Every file but the seal's own three, by name.
    pub files: Vec<SealedFile>,
}

/// A file of the folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SealedFile {
    pub file: String,
    pub bytes: u64,
    pub sha256: String,
}

impl Seal {
    /// The seal of a run that comes after `head`.
    pub fn next(serial: &str, run: &str, files: Vec<SealedFile>, head: Option<&Head>, by: &Sealing<'_>) -> Self {
        let sealed = by.clock.wall();
        Self {
            format: FORMAT,
            serial: serial.to_owned(),
            run: run.to_owned(),
            bench: by.bench.to_owned(),
            chain: head.map_or_else(|| run.to_owned(), |head| head.chain.clone()),
            counter: head.map_or(1, |head| head.counter.saturating_add(1)),
            previous: head.map(|head| head.link.clone()),
            sealed: sealed.format(&Rfc3339).unwrap_or_else(|_| sealed.to_string()),
            clock_uncertainty_s: by.clock_uncertainty.map(|uncertainty| uncertainty.as_secs_f64()),
            key: by.key.map(|key| key.public().fingerprint()),
            files,
        }
    }

    /// The text of `seal.json`.
    pub fn to_text(&self) -> String {
        checked::to_text(self)
    }

    /// Reads `seal.json`. No name in it leads out of the run's folder.
    ///
    /// # Errors
    /// Where it is not what was written.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, Damage> {
        let seal: Self = checked::from_bytes(bytes)?;
        let names = [check_serial(&seal.serial), check_run_id(&seal.run), check_run_id(&seal.chain)];
        let previous = seal.previous.as_ref().is_none_or(Link::is_sound);
        let files = seal.files.iter().all(|file| is_inside(&file.file) && is_digest(&file.sha256));
        let ordered = seal.files.is_sorted_by(|one, next| one.file < next.file);
        let is_sound = seal.format == FORMAT
            && (seal.counter == 1) == seal.previous.is_none()
            && seal.counter > 0
            && names.iter().all(Result::is_ok);
        if is_sound && previous && files && ordered { Ok(seal) } else { Err(Damage::Unknown) }
    }

    /// The manifest that goes with it, where `text` is its own.
    pub fn digests(&self, text: &[u8]) -> Digests {
        let mut digests: Digests = self.files.iter().map(|file| (file.file.clone(), file.sha256.clone())).collect();
        digests.insert(SEAL.to_owned(), digest(text));
        digests
    }

    /// What it says of a file.
    pub fn file(&self, name: &str) -> Option<&SealedFile> {
        let at = self.files.binary_search_by(|file| file.file.as_str().cmp(name)).ok()?;
        self.files.get(at)
    }

    /// When it was sealed, by the bench's clock.
    pub fn sealed_at(&self) -> Option<OffsetDateTime> {
        OffsetDateTime::parse(&self.sealed, &Rfc3339).ok()
    }

    /// The head that a run with this seal and this manifest makes.
    pub fn head(&self, manifest: &[u8]) -> Head {
        let link = Link { serial: self.serial.clone(), run: self.run.clone(), digest: digest(manifest) };
        Head { chain: self.chain.clone(), counter: self.counter, link }
    }
}

/// A name that a bench can have: it stands in file names and in trust files.
///
/// # Errors
/// What is wrong with it.
pub fn check_bench(name: &str) -> Result<(), String> {
    let is_plain = |character: char| character.is_ascii_alphanumeric() || "._@-".contains(character);
    let is_right = (1..=64).contains(&name.len()) && name.chars().all(is_plain) && !name.starts_with(['.', '-', '@']);
    if is_right { Ok(()) } else { Err("a bench's name has 1 to 64 letters, digits and `.`, `_`, `@`, `-`".into()) }
}

/// A name made of what a computer calls itself, for benches without a key.
pub fn bench_of(computer: &str) -> String {
    let name = computer.split('.').next().unwrap_or_default();
    if check_bench(name).is_ok() { name.to_owned() } else { "bench".to_owned() }
}
