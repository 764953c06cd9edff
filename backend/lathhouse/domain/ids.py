"""Identifiers made without a server (RFC 9562)."""

import uuid

# Alert ids are names within the subject they are about, so both sides make the same one.
NAMESPACE_SUBJECT = uuid.NAMESPACE_URL


def uuid7(now_ms: int, random_bytes: bytes) -> str:
    """Return a version 7 UUID: 48 bits of milliseconds, then 74 random bits (RFC 9562 section 5.7).

    Args:
        now_ms: milliseconds since 1970.
        random_bytes: ten bytes.
    """
    octets = bytearray(now_ms.to_bytes(6, "big") + random_bytes[:10])
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
