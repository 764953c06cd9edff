"""Forecasts from outside, in the plain form of this house's own (DEVELOPERS.md says which)."""

import threading
import time
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from lathhouse.domain.forecast_file import ROWS_MAX, TEXT_MAX, read_forecast
from lathhouse.sync import forecast_fetch
from lathhouse.sync.forecast_fetch import Forecast, fetch
from tests.server import Nursery

CSV = "date,low_c,high_c\r\n2026-09-10,-1.5,12\r\n2026-09-11,,31\r\n"
LOW = {"quantity_kind": "forecast_low_c", "value": -1.5, "for_night_of": "2026-09-10"}
HIGH = {"quantity_kind": "forecast_high_c", "value": 12, "for_day": "2026-09-10"}
HOT = {"quantity_kind": "forecast_high_c", "value": 31, "for_day": "2026-09-11"}
TEXTS = [
    CSV,
    "\ufeff low_c , date \n 3.25 , 2026-09-10 \n\n",
    '{"forecast": [{"date": "2026-09-10", "low_c": -1.5}, {"date": "2026-13-01", "low_c": 1}]}',
    '{"forecast": [{"date": "2026-09-10", "low_c": "2"}, {"date": "2026-09-11"}, 4, null]}',
    '{"forecast": [{"date": "2026-09-10", "low_c": true}, {"date": "2026-09-10", "high_c": 61}]}',
    "date,low_c\n2026-02-30,1\n2026-09-10,cold\n2026-09-10,1,2\n10.9.2026,1\n2026-09-10,+4",
    "", "date", "date,wind\n2026-09-10,4", "{", '{"forecast": 4}', '{"forecast": []}', "[1, 2]",
    "date,low_c\n" + "2026-09-10,1\n" * (ROWS_MAX + 1), "x" * (TEXT_MAX + 1),
]  # fmt: skip
PARSE = """async (texts) => {
  const { readForecast } = await import("/core/forecast_file.js");
  return texts.map((text) => readForecast(text));
}"""


def test_both_sides_read_the_same_and_name_the_same_bad_rows(core_page: Page):
    theirs = core_page.evaluate(PARSE, TEXTS)
    for text, found in zip(TEXTS, theirs, strict=True):
        assert read_forecast(text) == found, text[:60]
    assert read_forecast(CSV) == {"readings": [LOW, HIGH, HOT], "problems": []}
    mixed = read_forecast(TEXTS[5])
    assert [row["values"]["row"] for row in mixed["problems"]] == ["1", "2", "3", "4"]
    assert [row["value"] for row in mixed["readings"]] == [4]


def told(nursery: Nursery) -> list[tuple[str, str, float]]:
    """Return the forecasts on the nursery's row."""
    (row,) = nursery.rows("nursery")
    return [(one["which"], one["day"], one["value"]) for one in row.get("forecasts") or []]


def post_csv(nursery: Nursery, text: str) -> Any:
    headers = {"Authorization": f"Bearer {nursery.token('sensor')}", "Content-Type": "text/csv"}
    return nursery.client.post("/api/v1/forecasts", data=text, headers=headers)


def test_a_forecast_is_taken_once_and_each_figure_is_an_ordinary_reading(nursery: Nursery):
    said = post_csv(nursery, CSV).json
    assert len(said["stored"]) == 3
    assert post_csv(nursery, CSV).json == {"stored": [], "unchanged": 3, "problems": []}
    assert told(nursery) == [
        ("low", "2026-09-10", -1.5), ("high", "2026-09-10", 12), ("high", "2026-09-11", 31),
    ]  # fmt: skip
    events = nursery.call("GET", "/api/v1/events?limit=100").json["events"]
    assert [event["kind"] for event in events][-3:] == ["read"] * 3
    # A new figure counts at once, the same one again after six hours, so that its age is true.
    body = {"forecast": [{"date": "2026-09-10", "low_c": -2}, {"date": "2026-09-10x", "low_c": 1}]}
    answer = nursery.call("POST", "/api/v1/forecasts", body, role="worker").json
    assert len(answer["stored"]) == 1
    assert answer["problems"][0].startswith("Row 2: date must be a day")
    nursery.clock.forward(hours=6)
    assert len(post_csv(nursery, CSV).json["stored"]) == 3
    assert nursery.differences() == []


def test_what_cannot_be_read_is_refused_and_a_viewer_may_not_send_one(nursery: Nursery):
    answer = post_csv(nursery, "wind\n4")
    assert answer.status_code == 422
    assert "whose first line names date" in answer.json["detail"]
    body = {"forecast": []}
    assert nursery.call("POST", "/api/v1/forecasts", body, role="viewer").status_code == 403


@pytest.fixture
def serving() -> Iterator[Callable[[Callable[[Any], None]], str]]:
    """Serve one answer over HTTP on loopback: `serving(write)` returns the address."""
    servers: list[ThreadingHTTPServer] = []

    def serve(write: Callable[[Any], None]) -> str:
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                write(self)

            def log_message(self, *_: Any) -> None:
                """Say nothing."""

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        servers.append(server)
        return f"http://127.0.0.1:{server.server_port}/"

    yield serve
    for server in servers:
        server.shutdown()
        server.server_close()


def answering(body: bytes, status: int = 200) -> Callable[[Any], None]:
    def write(handler: Any) -> None:
        handler.send_response(status)
        handler.end_headers()
        handler.wfile.write(body)

    return write


def test_a_file_or_an_address_is_looked_at_once_an_hour(
    nursery: Nursery, serving: Any, tmp_path: Path
):
    file = tmp_path / "forecast.csv"
    file.write_text(CSV, "utf-8")
    asked: list[int] = []
    address = serving(lambda handler: (asked.append(1), answering(CSV.encode())(handler)))
    for source in (str(file), address):
        forecast = Forecast(nursery.app, nursery.site, source, nursery.clock)
        with nursery.app.app_context():
            forecast.look()
            nursery.clock.forward(minutes=59)
            forecast.look()
            nursery.clock.forward(minutes=1)
            forecast.look()
    assert len(asked) == 2
    assert told(nursery)[0] == ("low", "2026-09-10", -1.5)


def dripping(start: bytes, over: threading.Event) -> Callable[[Any], None]:
    """Return an answer that goes on, a byte at a time: no single read of it is ever late."""

    def write(handler: Any) -> None:
        handler.wfile.write(start)
        while not over.wait(0.02):
            handler.wfile.write(b"x")

    return write


def test_what_cannot_be_had_holds_nothing_up_and_is_in_the_log(
    nursery: Nursery, serving: Any, tmp_path: Path, caplog: pytest.LogCaptureFixture,
    monkeypatch: pytest.MonkeyPatch,
):  # fmt: skip
    monkeypatch.setattr(forecast_fetch, "FETCH_SECONDS", 0.3)
    over, led = threading.Event(), []
    beyond = serving(lambda handler: (led.append(1), answering(CSV.encode())(handler)))

    def leads_on(handler: Any) -> None:
        handler.send_response(302)
        handler.send_header("Location", beyond)
        handler.end_headers()

    sources = {
        "answered 404": serving(answering(b"", 404)),
        "longer than": serving(answering(b"x" * (TEXT_MAX + 9000))),
        "not whole": serving(lambda handler: over.wait(5)),
        "not whole within": serving(dripping(b"HTTP/1.0 200 OK\r\n\r\ndate,low_c\n", over)),
        "within 0.3 s": serving(dripping(b"HTTP/1.0 200 OK\r\nX-Long: ", over)),
        "not followed": serving(leads_on),
        "IncompleteRead(": serving(
            lambda handler: handler.wfile.write(
                b"HTTP/1.0 200 OK\r\nContent-Length: 99\r\n\r\n" + CSV.encode()
            )
        ),
        "No such file": str(tmp_path / "nowhere.csv"),
        "A forecast is JSON": serving(answering(b"<html>")),
    }
    with nursery.app.app_context():
        for words, source in sources.items():
            caplog.clear()
            began = time.monotonic()
            Forecast(nursery.app, nursery.site, source, nursery.clock).look()
            assert words in caplog.text, source
            # The most is for a machine that is busy.
            assert time.monotonic() - began < 20 * forecast_fetch.FETCH_SECONDS
    over.set()
    assert (told(nursery), led) == ([], [])
    with pytest.raises(OSError, match="longer than"):
        fetch(sources["longer than"])


def test_what_could_not_be_had_is_asked_for_again_in_minutes_and_then_by_the_hour(
    one_nursery: Nursery, tmp_path: Path, caplog: pytest.LogCaptureFixture
):
    """Two, five and fifteen minutes: ours."""
    nursery, file = one_nursery, tmp_path / "forecast.csv"
    forecast = Forecast(nursery.app, nursery.site, str(file), nursery.clock)
    with nursery.app.app_context():
        tries = []
        for minute in range(150):
            caplog.clear()
            forecast.look()
            tries += [minute] if caplog.text else []
            nursery.clock.forward(minutes=1)
        assert tries == [0, 2, 7, 22, 82, 142]
        file.write_text(CSV, "utf-8")
        nursery.clock.forward(hours=1)
        forecast.look()
        assert told(nursery)[0] == ("low", "2026-09-10", -1.5)
        # One that was had sets the waits back to the first.
        file.unlink()
        nursery.clock.forward(hours=1)
        for minutes in (0, 2):
            caplog.clear()
            nursery.clock.forward(minutes=minutes)
            forecast.look()
            assert "could not be read" in caplog.text


def test_the_forecast_has_a_thread_of_its_own(one_nursery: Nursery, tmp_path: Path):
    """The alert clock waits for nobody."""
    nursery, file, done = one_nursery, tmp_path / "forecast.csv", threading.Event()
    file.write_text(CSV, "utf-8")
    forecast = Forecast(nursery.app, nursery.site, str(file), nursery.clock)
    look = forecast.look
    forecast.look = lambda: (look(), done.set())  # type: ignore[method-assign]
    forecast.start()
    assert done.wait(20)
    forecast.stop()
    assert told(nursery)[0] == ("low", "2026-09-10", -1.5)


def test_a_figure_twice_in_one_forecast_or_sent_twice_at_once_is_one_record(nursery):
    """Found by random requests: it was a fault, since both are the same record."""
    day = {"date": "1958-04-20", "low_c": 7.5}
    body = {"forecast": [day, day, {"date": "2026-09-10", "low_c": 2.0}]}
    said = nursery.call("POST", "/api/v1/forecasts", body)
    assert (said.status_code, len(said.json["stored"]), said.json["unchanged"]) == (200, 2, 1)
    again = nursery.call("POST", "/api/v1/forecasts", body)
    assert (again.status_code, again.json["stored"], again.json["unchanged"]) == (200, [], 3)
