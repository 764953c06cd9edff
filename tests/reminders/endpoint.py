"""A push service of the tests: real HTTPS, and a browser behind it that opens what it gets.

Written from RFC 8291 section 3 and RFC 8188 section 2 with the receiver's keys, and not from our
sender; `http_ece` is a second such reader.
"""

import hashlib
import hmac
import ipaddress
import json
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import http_ece
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from lathhouse.reminders.webpush import b64u, from_b64u

CURVE = ec.SECP256R1()


def mac(key: bytes, text: bytes) -> bytes:
    return hmac.new(key, text, hashlib.sha256).digest()


@dataclass
class Browser:
    """A subscription's own half: the keys that only the phone has."""

    private: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(CURVE)
    )
    auth: bytes = field(default_factory=lambda: hashlib.sha256(b"a browser").digest()[:16])

    @property
    def public(self) -> bytes:
        point = serialization.PublicFormat.UncompressedPoint
        return self.private.public_key().public_bytes(serialization.Encoding.X962, point)

    def subscription(self, endpoint: str) -> dict[str, Any]:
        keys = {"p256dh": b64u(self.public), "auth": b64u(self.auth)}
        return {"endpoint": endpoint, "keys": keys}

    def open(self, body: bytes) -> bytes:
        """Return the text of a body, as RFC 8291 section 3.4 and RFC 8188 section 2 say."""
        salt, size = body[:16], int.from_bytes(body[16:20], "big")
        length = body[20]
        sender, record = body[21 : 21 + length], body[21 + length :]
        assert len(record) <= size
        theirs = ec.EllipticCurvePublicKey.from_encoded_point(CURVE, sender)
        shared = self.private.exchange(ec.ECDH(), theirs)
        prk_key = mac(self.auth, shared)
        ikm = mac(prk_key, b"WebPush: info\0" + self.public + sender + b"\x01")
        prk = mac(salt, ikm)
        cek = mac(prk, b"Content-Encoding: aes128gcm\0\x01")[:16]
        nonce = mac(prk, b"Content-Encoding: nonce\0\x01")[:12]
        padded = AESGCM(cek).decrypt(nonce, record, None).rstrip(b"\0")
        assert padded[-1:] == b"\x02"
        return padded[:-1]

    def open_by_library(self, body: bytes) -> bytes:
        """Return the same by an independent library."""
        return http_ece.decrypt(body, private_key=self.private, auth_secret=self.auth)


def verified(authorization: str) -> dict[str, Any]:
    """Return the claims of a VAPID header whose signature holds (RFC 8292 sections 2 and 3)."""
    assert authorization.startswith("vapid ")
    parts = dict(part.strip().split("=", 1) for part in authorization[6:].split(","))
    head, claims, signature = parts["t"].split(".")
    raw = from_b64u(signature)
    assert len(raw) == 64
    der = encode_dss_signature(int.from_bytes(raw[:32], "big"), int.from_bytes(raw[32:], "big"))
    key = ec.EllipticCurvePublicKey.from_encoded_point(CURVE, from_b64u(parts["k"]))
    key.verify(der, f"{head}.{claims}".encode(), ec.ECDSA(hashes.SHA256()))
    assert json.loads(from_b64u(head)) == {"typ": "JWT", "alg": "ES256"}
    return {**json.loads(from_b64u(claims)), "key": parts["k"]}


@dataclass
class Service:
    """What the push service has heard; it answers as it is told to."""

    address: str
    authority: Path
    answers: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    heard: list[tuple[str, dict[str, str], bytes]] = field(default_factory=list)

    def topics(self) -> list[str]:
        return [headers["topic"] for _, headers, _ in self.heard]


def certified(folder: Path) -> tuple[Path, Path]:
    """Return (certificate, key) for this machine's loopback, which is its own authority."""
    key = ec.generate_private_key(CURVE)
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "a push service of the tests")])
    names = [x509.DNSName("localhost"), x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=30))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .sign(key, hashes.SHA256())
    )
    certificate, private = folder / "tests.pem", folder / "tests.key"
    certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    private.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return certificate, private


@contextmanager
def push_service(folder: Path) -> Iterator[Service]:
    """Run one on loopback."""
    certificate, private = certified(folder)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            headers = {name.lower(): value for name, value in self.headers.items()}
            service.heard.append((self.path, headers, body))
            status, more = service.answers.pop(0) if service.answers else (201, {})
            self.send_response(status)
            for name, value in more.items():
                self.send_header(name, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, private)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    service = Service(f"https://localhost:{server.server_port}", certificate)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield service
    server.shutdown()
    thread.join()
    server.server_close()
