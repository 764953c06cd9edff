"""Pictures: in after their records, out to whoever may read, and nothing else by that door."""

import hashlib
import io
import shutil
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner
from PIL import Image
from sqlalchemy import delete, update

from lathhouse import cli
from lathhouse.store.models import Photo
from tests.attack.two_sites import paired
from tests.on_postgresql import address_for
from tests.photos import jpeg, name_of, put
from tests.server import Nursery


def photographed(nursery: Nursery, octets: bytes) -> tuple[Any, str, dict[str, Any]]:
    device = nursery.device()
    lot = device.start_lot()
    data = {"sha256": name_of(octets).upper(), "width_px": 120, "height_px": 90}
    return device, lot, device.record("photographed", lot, data)


def get(nursery: Nursery, octets: bytes, role: str = "viewer", **headers: str) -> Any:
    sent = {"Authorization": f"Bearer {nursery.token(role)}", **headers}
    return nursery.client.get(f"/api/v1/photos/{name_of(octets)}", headers=sent)


def test_a_picture_comes_after_its_record_once_and_goes_out_as_nothing_but_a_picture(
    nursery: Nursery,
):
    octets = jpeg()
    early = put(nursery, octets)
    assert (early.status_code, early.json["type"].rsplit("/", 1)[1]) == (409, "photo-unnamed")
    photographed(nursery, octets)
    assert get(nursery, octets).status_code == 404
    said = [put(nursery, octets, role).json["already"] for role in ("worker", "owner")]
    assert said == [False, True]

    found = get(nursery, octets, **{"Accept-Encoding": "gzip"})
    assert hashlib.sha256(found.data).hexdigest() == name_of(octets)
    assert Image.open(io.BytesIO(found.data)).size == (120, 90)
    assert found.content_type == "image/jpeg"
    assert "Content-Encoding" not in found.headers
    assert found.headers["Content-Disposition"].startswith("attachment;")
    assert found.headers["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in found.headers["Content-Security-Policy"]
    assert found.headers["Cache-Control"] == "private, max-age=31536000, immutable"
    again = get(nursery, octets, **{"If-None-Match": found.headers["ETag"]})
    assert (again.status_code, again.data) == (304, b"")
    token = {"Authorization": f"Bearer {nursery.token('viewer')}"}
    head = nursery.client.head(f"/api/v1/photos/{name_of(octets)}", headers=token)
    assert (head.status_code, head.data) == (200, b"")


def test_a_phone_sends_it_by_its_session_and_a_page_of_another_site_does_not(nursery: Nursery):
    octets = jpeg(shade=1)
    photographed(nursery, octets)
    phone = paired(nursery, "worker").client
    where = f"/api/v1/photos/{name_of(octets)}"
    for headers in (
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/json"},
        {"Content-Type": "image/jpeg", "Origin": "https://elsewhere.example"},
    ):
        assert phone.put(where, data=octets, headers=headers).status_code == 403
    assert phone.put(where, data=octets, headers={"Content-Type": "image/jpeg"}).status_code == 200
    # What takes a picture takes nothing else so, and what takes JSON takes no picture.
    assert phone.post("/api/v1/forecasts", data=b"x", content_type="image/jpeg").status_code == 403


def test_what_is_no_picture_as_phones_make_them_is_refused_in_words(same_nursery: Nursery):
    whole = jpeg(shade=2)
    cases: list[tuple[int, str, bytes, str | None, dict[str, str]]] = [
        (413, "1,048,576", b"\xff\xd8" + bytes(1_100_000), None, {}),
        (422, "not those", whole, name_of(b"another"), {}),
        (422, "does not end", whole[:-9], None, {}),
        (422, "does not begin", b"<svg xmlns='http://www.w3.org/2000/svg'/>", None, {}),
        (422, "4,096 pixels", jpeg(5000, 3), None, {}),
        (422, "as image/jpeg", whole, None, {"Content_Type": "image/svg+xml"}),
        (422, "as image/jpeg", whole, None, {"Content_Encoding": "gzip"}),
    ]
    for status, says, octets, name, headers in cases:
        said = put(same_nursery, octets, "owner", name, **headers)
        assert (said.status_code, says in said.json["detail"]) == (status, True), said.json


TRICKS = [
    "../../etc/passwd", "..%2f..%2fetc%2fpasswd", "%2e%2e/%2e%2e/x", "C:%5cx", "~", ".",
    "%c0%ae%c0%ae/x", "%3Cscript%3E", "0f" * 31, "0f" * 33, "0F" * 32, f"{'0f' * 32}.jpg",
    f"{'0f' * 32}%00", f"{'0f' * 32}%0a", f"{'0' * 62}%d9%a1%d9%a1", f"photo-{'0f' * 32}",
]  # fmt: skip


@pytest.mark.parametrize("trick", TRICKS)
def test_no_name_but_a_sha_256_leads_anywhere(same_nursery: Nursery, trick: str):
    token = {"Authorization": f"Bearer {same_nursery.token('owner')}"}
    jpg = {**token, "Content-Type": "image/jpeg"}
    for said in (
        same_nursery.client.get(f"/api/v1/photos/{trick}", headers=token),
        same_nursery.client.put(f"/api/v1/photos/{trick}", data=jpeg(), headers=jpg),
    ):
        assert said.status_code in (400, 404, 405), said.status_code
        assert said.content_type == "application/problem+json"


def test_check_names_a_damaged_picture_and_awaits_one_that_never_came(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    octets, other = jpeg(shade=3), jpeg(shade=4)
    device, lot, event = photographed(nursery, octets)
    unsent = device.record("photographed", lot, {"sha256": name_of(other)})
    put(nursery, octets)
    assert nursery.differences() == []
    assert awaited(nursery) == [f"{unsent['id']}: its picture has not come"]
    # Taken back, it is awaited no more; moved to another picture by a correction, that one is.
    device.record("voided", lot, {"of": unsent["id"], "why": "a thumb"})
    assert awaited(nursery) == []
    amended = device.record("amended", lot, {"of": event["id"], "data": {"sha256": "ab" * 32}})
    assert awaited(nursery) == [f"{event['id']}: its picture has not come"]
    device.record("voided", lot, {"of": amended["id"], "why": "no"})
    assert awaited(nursery) == []

    with nursery.database() as connection:
        connection.execute(update(Photo).values(octets=octets[:-1]))
    assert nursery.differences() == [
        f"photo {name_of(octets)}: its octets are not any more those that were sent"
    ]
    # Sent once more, it is whole again.
    assert put(nursery, octets).json["already"] is False
    assert nursery.differences() == []


def awaited(nursery: Nursery) -> list[str]:
    with nursery.app.app_context():
        found = cli.check_record(nursery.site, nursery.clock.text())["awaited"]
    return [said.removeprefix("event ").partition(", photo")[0] for said in found]


def test_the_command_says_what_is_awaited_and_fails_for_what_is_damaged(
    one_nursery: Nursery, tmp_path: Path
):
    octets = jpeg(shade=5)
    url = address_for(tmp_path / "l.sqlite")

    def ran() -> tuple[int, str]:
        env = {"LATHHOUSE_DATABASE_URL": url}
        said = CliRunner().invoke(cli.main, ["check", "--data", str(tmp_path / "data")], env=env)
        return said.exit_code, said.output

    photographed(one_nursery, octets)
    code, says = ran()
    assert (code, "its picture has not come" in says, "0 pictures, 1 have" in says) == (
        0,
        True,
        True,
    )
    put(one_nursery, octets)
    with one_nursery.database() as connection:
        connection.execute(update(Photo).values(octets=b""))
    code, says = ran()
    assert (code, "1 picture, 0 have" in says, "1 lot, 1 difference" in says) == (1, True, True)
    with one_nursery.database() as connection:
        connection.execute(delete(Photo))


def test_the_last_room_on_a_disk_is_for_records(
    same_nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    octets = jpeg(shade=6)
    device, lot, _ = photographed(same_nursery, octets)
    with monkeypatch.context() as patch:
        patch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=999_000_000))
        said = put(same_nursery, octets)
        assert (said.status_code, "for records" in said.json["detail"]) == (507, True)
        device.record("looked", lot, {})
    assert put(same_nursery, octets).status_code == 200
