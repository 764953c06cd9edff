"""The header of a JPEG is read as it is written: ITU-T T.81 (1992), annex B; files by Pillow."""

import pytest

from lathhouse.domain.jpeg import NotJpeg, jpeg_size
from tests.photos import jpeg

# How encoders lay out a header: tables anew, in many scans, a comment first, a profile before all.
WAYS = [
    {},
    {"progressive": True},
    {"optimize": True},
    {"comment": b"\xff\xd8 no start \xff\xc0"},
    {"icc_profile": b"\xff\xc0" * 40_000},
    {"restart_marker_rows": 1},
]


@pytest.mark.parametrize("way", WAYS, ids=lambda way: next(iter(way), "plain"))
@pytest.mark.parametrize("size", [(1, 1), (1600, 1200), (65_000, 2)])
def test_its_size_is_what_it_was_made_with(way: dict[str, object], size: tuple[int, int]):
    assert jpeg_size(jpeg(*size, **way)) == size


def test_fill_before_a_marker_counts_for_nothing():
    """B.1.1.2: any marker may be preceded by any number of fill octets."""
    whole = jpeg(40, 30)
    assert jpeg_size(whole[:2] + b"\xff\xff\xff" + whole[2:]) == (40, 30)


BROKEN = {
    "nothing": b"",
    "a PNG": b"\x89PNG\r\n\x1a\n" + bytes(40),
    "a page": b"<!doctype html><script>alert(1)</script>",
    "cut short": jpeg()[:-20],
    "with something after it": jpeg() + b"<script>",
    "no more than a start and an end": b"\xff\xd8\xff\xd9",
    "a segment of no length": b"\xff\xd8\xff\xe0\x00\x00\xff\xd9",
    "a scan and no frame": b"\xff\xd8\xff\xda\x00\x04\x00\x00\xff\xd9",
    "a frame of no size": b"\xff\xd8\xff\xc0\x00\x0b\x08\x00\x00\x00\x00\x01\x01\x11\x00\xff\xd9",
    "a frame that is cut": b"\xff\xd8\xff\xc0\x00\x04\x08\x00\xff\xd9",
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_no_whole_jpeg_is_refused(name: str):
    with pytest.raises(NotJpeg):
        jpeg_size(BROKEN[name])
