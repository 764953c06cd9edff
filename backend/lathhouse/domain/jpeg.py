"""Whether octets are a JPEG, and how large a picture: its header alone, nothing is unpacked.

ITU-T T.81 (1992), annex B: markers are two octets (table B.1), a segment says its own length
(B.1.1.4), and a frame's header its lines and samples a line (B.2.2).
"""

START, END = b"\xff\xd8", b"\xff\xd9"
ALONE = {0x01, *range(0xD0, 0xDA)}
# SOF0 to SOF15 without what else has a number among them: DHT, JPG, DAC.
FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
SCAN = 0xDA


class NotJpeg(ValueError):
    """Octets that are no JPEG, or not a whole one."""


def jpeg_size(octets: bytes) -> tuple[int, int]:
    """Return a picture's width and height in pixels.

    Raises:
        NotJpeg: it does not begin or end as one, or holds no frame before its first scan.
    """
    if not octets.startswith(START):
        raise NotJpeg("It does not begin as a JPEG does.")
    if not octets.endswith(END):
        raise NotJpeg("It does not end as a JPEG does: it was cut short.")
    at = len(START)
    while at + 4 <= len(octets):
        marker = octets[at + 1]
        if octets[at] != 0xFF:
            break
        if marker == 0xFF:  # any number of these may stand before a marker
            at += 1
            continue
        length = 0 if marker in ALONE else int.from_bytes(octets[at + 2 : at + 4])
        if marker in FRAMES:
            return _frame(octets[at + 4 : at + 2 + length])
        if marker == SCAN or (length < 2 and marker not in ALONE):
            break
        at += 2 + length
    raise NotJpeg("Its header holds no frame.")


def _frame(header: bytes) -> tuple[int, int]:
    height, width = int.from_bytes(header[1:3]), int.from_bytes(header[3:5])
    if len(header) < 6 or not (width and height):
        raise NotJpeg("Its header does not say how large it is.")
    return width, height
