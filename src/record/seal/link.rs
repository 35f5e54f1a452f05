//! A link of the chain: which run, and the digest of its manifest.

use super::super::writer::{check_run_id, check_serial};
use super::is_digest;
use serde::{Deserialize, Serialize};

/// A sealed run, as another one's seal names it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Link {
    pub serial: String,
    pub run: String,
    /// SHA-256 of its `digests.sha256`.
    pub digest: String,
}

impl Link {
    /// Whether its names can be folders' names, and its digest is one.
    pub fn is_sound(&self) -> bool {
        check_serial(&self.serial).is_ok() && check_run_id(&self.run).is_ok() && is_digest(&self.digest)
    }
}

/// The newest run of a chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// Id of the chain's first run.
    pub chain: String,
    pub counter: u64,
    pub link: Link,
}
