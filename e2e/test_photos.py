"""A picture never holds back its record, is kept with it on the phone, and is there for others."""

import io
from typing import Any

from PIL import ExifTags, Image
from playwright.sync_api import Page, Route, expect
from tests.photos import jpeg

from e2e.demo import LATER_MS, OpenApp, Served, until_filled
from e2e.house import until
from lathhouse.demo.scenario import lot_id
from lathhouse.store.models import Event, Photo
from lathhouse.store.work import looking

pytest_plugins = ["e2e.demo"]
LOT = f"#/lot/{lot_id('AP-26-1')}"
NONE_UNSENT = "import('/store/house.js').then((house) => house.unsentPhotos.value.length === 0)"


def from_a_camera() -> bytes:
    """Return a picture with the place in it, as phones write one (Exif 2.32, GPS IFD)."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (42.0, 53.0, 0.0)
    exif[ExifTags.Base.Make] = "a camera"
    whole = jpeg(3000, 2000, exif=exif)
    assert Image.open(io.BytesIO(whole)).getexif().get_ifd(ExifTags.IFD.GPSInfo)
    return whole


def rows(server: Served, table: Any, *conditions: Any) -> list[dict[str, Any]]:
    with server.app.app_context():
        site, at = server.app.config["SITE_ID"], server.clock.text()
        return looking(site, at, lambda work: work.rows(table, *conditions))


def go(page: Page, route: str) -> None:
    page.evaluate("(route) => { location.hash = route; }", route)


def test_a_picture_taken_offline_outlives_the_page_and_arrives_once_after_its_record(
    own_demo: Served, open_app: OpenApp
):
    phone = open_app(own_demo)
    until_filled(phone)
    until(phone, "navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller)")
    context = phone.context
    context.set_offline(True)
    go(phone, LOT)
    phone.get_by_role("link", name="Picture").click()
    file = {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": from_a_camera()}
    phone.locator(".take-photo input:not([capture])").set_input_files(
        {**file, "buffer": b"no picture"}
    )
    expect(phone.get_by_role("alert")).to_have_text(
        "This phone cannot read that as a picture. Take it with the camera."
    )
    phone.locator(".take-photo input[capture]").set_input_files(file)
    phone.get_by_label("What it shows").fill("Grey fluff")
    phone.locator(".foot").get_by_role("button", name="Save").click()
    expect(phone.locator(".photo-small img")).to_be_visible(timeout=LATER_MS)
    # Taken back, it goes with its record, for it was not sent; undone, both are here again.
    phone.get_by_role("button", name="Wrong?").first.click()
    phone.get_by_role("button", name="Take back").click()
    expect(phone.locator(".undo-bar")).to_contain_text("Picture taken back", timeout=LATER_MS)
    expect(phone.locator(".photo-small img")).to_have_count(0)
    expect(phone.get_by_role("button", name="Correct it")).to_have_count(0)
    phone.get_by_role("button", name="Undo").click()
    expect(phone.locator(".photo-small img")).to_be_visible(timeout=LATER_MS)
    phone.close()

    again = context.new_page()
    again.goto(f"{own_demo.address}/{LOT}")
    expect(again.locator(".photo")).to_contain_text("only on this phone", timeout=LATER_MS)
    expect(again.locator(".photo-small img")).to_be_visible()
    on_record_by_then: list[int] = []

    def slow(route: Route) -> None:
        if route.request.method == "PUT":
            on_record_by_then.append(len(rows(own_demo, Event, Event.kind == "photographed")))
        route.continue_()

    context.route("**/api/v1/photos/*", slow)
    context.set_offline(False)
    until(again, NONE_UNSENT)
    # The one that was taken back is on record too.
    assert on_record_by_then == [2]
    (photo,) = rows(own_demo, Photo)
    taken = Image.open(io.BytesIO(photo["octets"]))
    assert (taken.format, taken.size) == ("JPEG", (1600, 1067))
    # Drawn anew: neither where it was taken nor by what.
    assert not dict(taken.getexif())

    other = open_app(own_demo)
    until_filled(other)
    go(other, LOT)
    expect(other.get_by_text("Grey fluff").first).to_be_visible(timeout=LATER_MS)
    other.context.set_offline(True)
    other.get_by_role("button", name="Show the picture").click()
    expect(other.locator(".photo [role=status]")).to_contain_text("out of reach")
    other.context.set_offline(False)
    other.get_by_role("button", name="Show the picture").click()
    other.locator(".photo-small").click(timeout=LATER_MS)
    large = other.locator("dialog img")
    expect(large).to_be_visible()
    assert large.evaluate("(shown) => [shown.naturalWidth, shown.naturalHeight]") == [1600, 1067]
    other.get_by_role("button", name="Close the picture").click()
    expect(large).to_have_count(0)
