"""Identifiers made without a server (RFC 9562)."""

import os
import time
import uuid

# Alert ids are names within the subject they are about, so both sides make the same one.
NAMESPACE_SUBJECT = uuid.NAMESPACE_URL


def uuid7(now_ms: int | None = None, random_bytes: bytes | None = None) -> str:
    """Return a version 7 UUID: 48 bits of milliseconds, then 74 random bits (RFC 9562 section 5.7).

    Args:
        now_ms: milliseconds since 1970; the wall clock where not given.
        random_bytes: ten bytes; from the system where not given.
    """
    ms = int(time.time() * 1000) if now_ms is None else now_ms
    noise = os.urandom(10) if random_bytes is None else random_bytes
    octets = bytearray(ms.to_bytes(6, "big") + noise[:10])
    octets[6] = (octets[6] & 0x0F) | 0x70
    octets[8] = (octets[8] & 0x3F) | 0x80
    return str(uuid.UUID(bytes=bytes(octets)))


def alert_id(subject_id: str, watch: str, since: str) -> str:
    """Return the id of an alert: the same subject, watch and start always give the same one."""
    try:
        namespace = uuid.UUID(subject_id)
    except ValueError:
        namespace = uuid.uuid5(NAMESPACE_SUBJECT, subject_id)
    return str(uuid.uuid5(namespace, f"{watch}|{since}"))
