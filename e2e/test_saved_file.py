"""What a phone cannot send is saved as a file and sent from another one; nothing typed is lost."""

from pathlib import Path

from playwright.sync_api import Page, expect

from e2e.demo import LATER_MS, OpenApp, Served, until_filled
from e2e.house import until
from lathhouse.demo.scenario import lot_id
from lathhouse.store.models import Event
from lathhouse.store.work import looking

pytest_plugins = ["e2e.demo"]
RECORD = """async (count) => {
  const { record } = await import("/store/record.js");
  for (let n = 0; n < count; n += 1) await record("noted", null, { text: `note ${n}` });
}"""
# The app's own way in fails; the database is there, and can be read as it is.
DOES_NOT_OPEN = """() => {
  const { open } = IDBFactory.prototype;
  IDBFactory.prototype.open = function (name, version) {
    if (version !== undefined) throw new DOMException("backing store", "NotFoundError");
    return open.call(this, name);
  };
}"""
# As a full disk answers: the request fails, and its transaction with it.
FULL = """(way) => {
  const before = IDBObjectStore.prototype[way];
  IDBObjectStore.prototype[way] = function (...asked) {
    const [request, { transaction }] = [before.apply(this, asked), this];
    const error = new DOMException("no room", "QuotaExceededError");
    request.addEventListener("success", () => {
      Object.defineProperty(transaction, "error", { get: () => error });
      transaction.abort();
    });
    return request;
  };
  window.freed = () => Object.assign(IDBObjectStore.prototype, { [way]: before });
}"""
NOT_SAVED = "The last record was NOT saved: free some space, then save again."
SYNC = "**/api/v1/sync/**"
DAY_MS = 86_400_000


def go(page: Page, route: str) -> None:
    page.evaluate("(route) => { location.hash = route; }", route)


def saved_by(page: Page, to: Path) -> Path:
    """Save the file, as a thumb does."""
    with page.expect_download() as download:
        page.get_by_role("button", name="Save a file of what is unsent").click()
    assert download.value.suggested_filename.startswith("lathhouse-unsent-")
    download.value.save_as(to)
    return to


def sent_by(page: Page, file: Path) -> list[int]:
    """Send a saved file; return how many were stored, there already, refused."""
    go(page, "#/take")
    page.locator("input[type=file]").set_input_files(file)
    page.get_by_role("button", name="Send it").click()
    tally = page.locator(".tally strong")
    expect(tally.first).to_be_visible(timeout=LATER_MS)
    return [int(count) for count in tally.all_inner_texts()]


def notes(server: Served) -> list[int]:
    """Return the numbers of the recorded notes that are on record."""
    with server.app.app_context():
        site, at = server.app.config["SITE_ID"], server.clock.text()
        rows = looking(site, at, lambda work: work.rows(Event, Event.kind == "noted"))
    return sorted(row["seq"] for row in rows if '"note ' in row["body"])


def test_a_phone_without_signal_for_a_day_says_so_and_its_file_goes_in_from_another(
    own_demo: Served, open_app: OpenApp, tmp_path: Path
):
    """Also from a phone whose app does not open any more. Sent by the phone later, none doubles."""
    phone = open_app(own_demo)
    until_filled(phone)
    until(phone, "import('/screens/rescue.js').then(() => true)")
    phone.context.route(SYNC, lambda route: route.abort())
    phone.evaluate(RECORD, 3)
    assert phone.locator(".foot .left").count() == 0
    phone.clock.fast_forward(DAY_MS)
    own_demo.clock.forward(days=1)
    line = phone.locator(".foot .left")
    expect(line).to_contain_text("3 records are only on this phone")
    line.click()
    expect(phone.locator(".risks")).to_contain_text("Take it to where it has a signal")
    # A server that answers and does not take them is no reason for silence.
    phone.context.route("**/api/v1/sync/pull*", lambda route: route.continue_())
    phone.context.route(
        "**/api/v1/sync/push", lambda route: route.fulfill(status=500, body="it stumbles")
    )
    phone.evaluate("() => import('/ui/keeper.js').then(({ tryNow }) => tryNow())")
    expect(phone.locator("main")).to_contain_text("stumbles over 3 records", timeout=LATER_MS)
    expect(phone.locator(".risks")).to_contain_text("3 records are only on this phone")
    expect(phone.locator(".risks")).to_contain_text("The server is in reach and has not taken them")
    file = saved_by(phone, tmp_path / "one.txt")

    fallen = phone.context.new_page()
    fallen.add_init_script(f"({DOES_NOT_OPEN})()")
    fallen.goto(own_demo.address)
    expect(fallen.get_by_text("Lathhouse cannot go on")).to_be_visible(timeout=LATER_MS)
    rescued = saved_by(fallen, tmp_path / "two.txt")
    fallen.close()
    assert rescued.read_text().splitlines()[1:4] == file.read_text().splitlines()[1:4]

    other = open_app(own_demo)
    until_filled(other)
    assert sent_by(other, file) == [3, 0, 0]
    assert sent_by(other, rescued) == [0, 3, 0]
    phone.context.unroute_all()
    phone.evaluate("() => import('/ui/keeper.js').then(({ tryNow }) => tryNow())")
    until(phone, "import('/store/house.js').then((house) => house.pending.value.length === 0)")
    assert notes(own_demo) == [1, 2, 3]


def test_what_does_not_fit_is_not_called_saved_and_stays_typed(own_demo: Served, open_app: OpenApp):
    """A form, and a correction in the history, on a phone whose storage is full (FAULTS F19)."""
    page = open_app(own_demo)
    until_filled(page)
    go(page, "#/places")
    name = page.get_by_label("Name of the place")
    name.fill("Propagation tunnel")
    page.evaluate(FULL, "add")
    page.get_by_role("button", name="Add a place").click()
    expect(page.locator(".trouble")).to_contain_text(NOT_SAVED)
    expect(name).to_have_value("Propagation tunnel")

    go(page, f"#/lot/{lot_id('MV-22-1')}")
    page.get_by_role("button", name="Wrong?").first.click()
    page.get_by_role("button", name="Correct it").click()
    save = page.locator(".record .leave .main-act")
    page.get_by_role("button", name="Close this message").click()
    save.click()
    expect(page.locator(".trouble")).to_contain_text(NOT_SAVED)
    expect(save).to_be_visible()
    until(page, "import('/store/house.js').then((house) => house.pending.value.length === 0)")
    page.evaluate("() => window.freed()")
    save.click()
    expect(save).to_have_count(0)
    # Taken back and brought back: the record holds as before.
    first = page.locator(".record").first
    said = first.locator("p").nth(1).inner_text()
    first.get_by_role("button", name="Wrong?").click()
    first.get_by_role("button", name="Take back").click()
    expect(first).to_contain_text("taken back")
    expect(first.get_by_role("button", name="Wrong?")).to_have_count(0)
    first.get_by_role("button", name="Bring it back").click()
    expect(first.get_by_role("button", name="Bring it back")).to_have_count(0)
    expect(first.locator("p").nth(1)).to_have_text(said)
    # News that do not fit are told as such: what was recorded is safe.
    page.evaluate(FULL, "put")
    page.evaluate("() => import('/ui/keeper.js').then(({ tryNow }) => tryNow())")
    expect(page.locator(".trouble")).to_contain_text("news from the server does not fit")
