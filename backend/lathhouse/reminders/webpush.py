"""Web Push: a message encrypted for one browser (RFC 8291) and signed as ours (RFC 8292).

Written on `cryptography` itself: the two standards are two short pages of it, and what sends must
be ours, since it may only go to addresses that were looked at first.
"""

import base64
import json
import os
from dataclasses import dataclass
from pathlib import Path

from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, utils
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

RECORD_SIZE = 4096
# What is left of one record after its header, its delimiter and its tag (RFC 8291 section 4).
PLAIN_MAX_BYTES = 3993
SALT_BYTES = 16
# RFC 8292 section 2 allows a token 24 hours; clocks differ.
TOKEN_LIFE_SECONDS = 12 * 3600
KEY_FILE = "vapid.pem"
CURVE = ec.SECP256R1()
RAW = serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint


def b64u(octets: bytes) -> str:
    """Return base64url without padding (RFC 7515 appendix C)."""
    return base64.urlsafe_b64encode(octets).decode().rstrip("=")


def from_b64u(text: str) -> bytes:
    """Return the octets of base64url, padded or not."""
    bare = text.rstrip("=")
    return base64.urlsafe_b64decode(bare + "=" * (-len(bare) % 4))


def raw(key: ec.EllipticCurvePrivateKey) -> bytes:
    """Return a key's public point as 65 octets."""
    return key.public_key().public_bytes(*RAW)


def derive(secret: bytes, salt: bytes, info: bytes, length: int) -> bytes:
    """Return HKDF-SHA-256 (RFC 5869), extract and expand."""
    return HKDF(hashes.SHA256(), length, salt, info).derive(secret)


@dataclass(frozen=True)
class Steps:
    """What comes between the keys and the body (RFC 8291 appendix A names each)."""

    ecdh_secret: bytes
    key_info: bytes
    ikm: bytes
    cek: bytes
    nonce: bytes


def steps(own: ec.EllipticCurvePrivateKey, theirs: bytes, auth: bytes, salt: bytes) -> Steps:
    """Return the keys for one message from our fresh key to a browser's (RFC 8291 section 3.4).

    Raises:
        ValueError: `theirs` is no point on the curve.
    """
    browser = ec.EllipticCurvePublicKey.from_encoded_point(CURVE, theirs)
    shared = own.exchange(ec.ECDH(), browser)
    info = b"WebPush: info\0" + theirs + raw(own)
    ikm = derive(shared, auth, info, 32)
    cek = derive(ikm, salt, b"Content-Encoding: aes128gcm\0", 16)
    nonce = derive(ikm, salt, b"Content-Encoding: nonce\0", 12)
    return Steps(shared, info, ikm, cek, nonce)


def encrypt(
    plain: bytes,
    theirs: bytes,
    auth: bytes,
    own: ec.EllipticCurvePrivateKey | None = None,
    salt: bytes | None = None,
) -> bytes:
    """Return the body that only this browser opens: one record of aes128gcm (RFC 8188).

    Args:
        own, salt: fresh for each message; a check value gives its own.

    Raises:
        ValueError: the text is too long for one record, or the key is none.
    """
    if len(plain) > PLAIN_MAX_BYTES:
        raise ValueError(f"{len(plain)} bytes; one record holds {PLAIN_MAX_BYTES}")
    key = own or ec.generate_private_key(CURVE)
    grain = salt or os.urandom(SALT_BYTES)
    found = steps(key, theirs, auth, grain)
    point = raw(key)
    header = grain + RECORD_SIZE.to_bytes(4, "big") + bytes([len(point)]) + point
    return header + AESGCM(found.cek).encrypt(found.nonce, plain + b"\x02", None)


def signed(key: ec.EllipticCurvePrivateKey, origin: str, subject: str, now_seconds: int) -> str:
    """Return the Authorization header that says whose message it is (RFC 8292 section 3)."""
    claims = {"aud": origin, "exp": now_seconds + TOKEN_LIFE_SECONDS, "sub": subject}
    parts = [{"typ": "JWT", "alg": "ES256"}, claims]
    text = ".".join(b64u(json.dumps(part, separators=(",", ":")).encode()) for part in parts)
    r, s = utils.decode_dss_signature(key.sign(text.encode(), ec.ECDSA(hashes.SHA256())))
    signature = r.to_bytes(32, "big") + s.to_bytes(32, "big")
    return f"vapid t={text}.{b64u(signature)}, k={b64u(raw(key))}"


def own_key(folder: Path) -> ec.EllipticCurvePrivateKey:
    """Return this nursery's signing key, made at the first start; only its owner can read the file.

    Browsers subscribe to this very key: a new one makes every phone ask again.
    """
    path = folder / KEY_FILE
    if not path.exists():
        made = ec.generate_private_key(CURVE).private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        # Whole or not at all, and never readable by others, not even for a moment.
        fresh = folder / f"{KEY_FILE}.{os.getpid()}"
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            file.write(made)
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(fresh, path)
        except FileExistsError:
            # Another process was first; its key holds.
            pass
        finally:
            fresh.unlink()
    key = serialization.load_pem_private_key(path.read_bytes(), None)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise ValueError(f"{path} holds no key of the kind that Web Push signs with")
    return key
