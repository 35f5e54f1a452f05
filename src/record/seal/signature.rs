//! The signature file of a seal: OpenSSH's SSHSIG (PROTOCOL.sshsig of its sources), so that `ssh-keygen -Y verify` checks it.

use super::key::{BenchKey, KIND, PublicKey};
use super::wire::{Wire, armoured, bared, put};
use sha2::{Digest, Sha256, Sha512};

/// What the signature is for; it is worth nothing for anything else.
pub const NAMESPACE: &str = "railproof-record";

const ARMOUR: &str = "SSH SIGNATURE";
const MAGIC: &[u8] = b"SSHSIG";

/// The file over a message.
pub fn sign(key: &BenchKey, message: &[u8]) -> String {
    let hash = "sha512";
    let digest = Sha512::digest(message);
    armoured(ARMOUR, &blob(key.public(), hash, &key.sign(&signed(hash, &digest))))
}

/// Who signed a message, by its file; none where it is no such file, was changed, or is another message's.
pub fn signer(message: &[u8], file: &[u8]) -> Option<PublicKey> {
    let whole = bared(ARMOUR, file)?;
    let mut wire = Wire(whole.strip_prefix(MAGIC)?);
    let version = wire.number()?;
    let key = PublicKey::from_wire(wire.string()?)?;
    let (namespace, reserved, hash) = (wire.string()?, wire.string()?, wire.string()?);
    let mut parts = Wire(wire.string()?);
    let (kind, signature) = (parts.string()?, parts.string()?.try_into().ok()?);
    parts.end()?;
    wire.end()?;
    let digest = match hash {
        b"sha512" => Sha512::digest(message).to_vec(),
        b"sha256" => Sha256::digest(message).to_vec(),
        _ => return None,
    };
    let hash = std::str::from_utf8(hash).ok()?;
    let is_ours = version == 1 && namespace == NAMESPACE.as_bytes() && reserved.is_empty() && kind == KIND.as_bytes();
    // Whatever else would be read the same is a changed file all the same.
    let is_as_written = armoured(ARMOUR, &blob(key, hash, signature)).as_bytes() == file;
    (is_ours && is_as_written && key.is_signature(&signed(hash, &digest), signature)).then_some(key)
}

/// What is signed: never the message alone, so that a signature for one purpose does not serve another.
fn signed(hash: &str, digest: &[u8]) -> Vec<u8> {
    let mut signed = MAGIC.to_vec();
    for part in [NAMESPACE.as_bytes(), b"", hash.as_bytes(), digest] {
        put(&mut signed, part);
    }
    signed
}

fn blob(key: PublicKey, hash: &str, signature: &[u8; 64]) -> Vec<u8> {
    let mut inner = Vec::new();
    put(&mut inner, KIND.as_bytes());
    put(&mut inner, signature);
    let mut blob = MAGIC.to_vec();
    blob.extend(1_u32.to_be_bytes());
    for part in [&key.to_wire()[..], NAMESPACE.as_bytes(), b"", hash.as_bytes(), &inner] {
        put(&mut blob, part);
    }
    blob
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_changed_bit_of_a_signature_is_found() {
        let key = BenchKey::new("bench-3", &[7; 32]);
        let file = sign(&key, b"message").into_bytes();
        assert_eq!(signer(b"message", &file), Some(key.public()));
        assert_eq!(signer(b"massage", &file), None);
        for at in 0..file.len() {
            assert_eq!(signer(b"message", &file[..at]), None, "cut at {at}");
            for bit in [0, 3, 5] {
                let mut changed = file.clone();
                changed[at] ^= 1 << bit;
                assert_eq!(signer(b"message", &changed), None, "byte {at}, bit {bit}");
            }
        }
        let more = [&file[..], b"\n"].concat();
        assert_eq!(signer(b"message", &more), None);
    }
}
