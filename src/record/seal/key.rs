//! The bench's key: Ed25519 (RFC 8032), named for the bench that it is the key of.

use super::digests::hexadecimal;
use super::wire::{Wire, put};
use base64::Engine;
use base64::engine::general_purpose::{STANDARD, STANDARD_NO_PAD};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use sha2::{Digest, Sha256};
use std::fmt;

/// What OpenSSH calls such a key.
pub const KIND: &str = "ssh-ed25519";

/// A bench's key with its secret part, which nothing ever prints.
pub struct BenchKey {
    bench: String,
    secret: SigningKey,
}

impl BenchKey {
    /// The key with these 32 bytes of chance.
    pub fn new(bench: &str, secret: &[u8; 32]) -> Self {
        Self { bench: bench.to_owned(), secret: SigningKey::from_bytes(secret) }
    }

    /// The bench's name.
    pub fn bench(&self) -> &str {
        &self.bench
    }

    /// Its 32 bytes of chance.
    pub(super) fn secret(&self) -> [u8; 32] {
        self.secret.to_bytes()
    }

    /// The part that may be known.
    pub fn public(&self) -> PublicKey {
        PublicKey(self.secret.verifying_key())
    }

    /// Signs a message.
    pub fn sign(&self, message: &[u8]) -> [u8; 64] {
        self.secret.sign(message).to_bytes()
    }
}

impl fmt::Debug for BenchKey {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "key {} of {}", self.public().fingerprint(), self.bench)
    }
}

/// A key that signatures are checked with.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct PublicKey(VerifyingKey);

impl PublicKey {
    /// The key with these bytes, where there is one.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        VerifyingKey::from_bytes(bytes.try_into().ok()?).ok().map(Self)
    }

    /// Its bytes.
    pub fn to_bytes(self) -> [u8; 32] {
        self.0.to_bytes()
    }

    /// As OpenSSH writes it into keys and signatures (RFC 8709, 4).
    pub fn to_wire(self) -> Vec<u8> {
        let mut wire = Vec::new();
        put(&mut wire, KIND.as_bytes());
        put(&mut wire, &self.to_bytes());
        wire
    }

    /// Reads that.
    pub fn from_wire(wire: &[u8]) -> Option<Self> {
        let mut wire = Wire(wire);
        let kind = wire.string()?;
        let key = wire.string()?;
        wire.end()?;
        if kind == KIND.as_bytes() { Self::from_bytes(key) } else { None }
    }

    /// Its text in trust files and `.pub` files.
    pub fn to_base64(self) -> String {
        STANDARD.encode(self.to_wire())
    }

    /// A short name for it, as `ssh-keygen -l` prints it.
    pub fn fingerprint(self) -> String {
        format!("SHA256:{}", STANDARD_NO_PAD.encode(Sha256::digest(self.to_wire())))
    }

    /// Whether a message was signed with it.
    pub fn is_signature(self, message: &[u8], signature: &[u8; 64]) -> bool {
        self.0.verify_strict(message, &Signature::from_bytes(signature)).is_ok()
    }
}

impl fmt::Debug for PublicKey {
    fn fmt(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        to.write_str(&hexadecimal(&self.to_bytes()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(hexadecimal: &str) -> Vec<u8> {
        let pair = |at| u8::from_str_radix(&hexadecimal[at..at + 2], 16).expect("hexadecimal");
        (0..hexadecimal.len()).step_by(2).map(pair).collect()
    }

    // Outside: Ed25519 keys and signatures, RFC 8032, 7.1, tests 1, 2 and 3; how: package cryptography_vectors 44.0.0, Ed25519/sign.input has the same
    #[test]
    fn the_standards_signatures() {
        for (secret, public, message, signature) in [
            (
                "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
                "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
                "",
                "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595b\
                 be24655141438e7a100b",
            ),
            (
                "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
                "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
                "72",
                "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb430\
                 2aeeb00d291612bb0c00",
            ),
            (
                "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
                "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
                "af82",
                "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716e\
                 d28dc027beceea1ec40a",
            ),
        ] {
            let key = BenchKey::new("bench-3", &bytes(secret).try_into().expect("32 bytes"));
            let (message, signature) = (bytes(message), bytes(signature).try_into().expect("64 bytes"));
            assert_eq!(key.public().to_bytes().as_slice(), bytes(public));
            assert_eq!(key.sign(&message), signature);
            assert!(key.public().is_signature(&message, &signature));
            assert!(!key.public().is_signature(&[&message[..], b"x"].concat(), &signature));
        }
    }

    #[test]
    fn a_key_does_not_print_its_secret() {
        let key = BenchKey::new("bench-3", &[7; 32]);
        assert_eq!(format!("{key:?}"), format!("key {} of bench-3", key.public().fingerprint()));
        assert_eq!(PublicKey::from_wire(&key.public().to_wire()), Some(key.public()));
        assert_eq!(PublicKey::from_wire(&[key.public().to_wire(), vec![0]].concat()), None);
    }
}
