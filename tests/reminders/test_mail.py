"""Mail to people, read back from a real mail server (aiosmtpd) on this machine."""

import email
import email.policy
import json
import logging
import re
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, LoginPassword

from lathhouse.reminders import mail
from lathhouse.reminders.mail import BadMailSettings, MailServer, read_server
from tests.ports import own_port
from tests.reminders.carried import Told
from tests.reminders.endpoint import Service, certified
from tests.server import Nursery

pytest_plugins = ["tests.reminders.carried"]

SECRET = "correct horse"
SENDER = "lathhouse@nursery.example"


class Box:
    """What the mail server has taken; it answers as it is told to."""

    def __init__(self) -> None:
        self.taken: list[EmailMessage] = []
        self.answers: list[str] = []
        self.signed_in: list[bool] = []
        # None: it ends the line without a word.
        self.good_bye: str | None = "221 bye"

    async def handle_DATA(self, _: Any, session: Any, envelope: Any) -> str:
        answer = self.answers.pop(0) if self.answers else "250 taken"
        if answer.startswith("250"):
            read = email.message_from_bytes(envelope.content, policy=email.policy.default)
            self.taken.append(read)
            self.signed_in.append(bool(session.authenticated))
        return answer

    async def handle_QUIT(self, server: Any, *_: Any) -> str:
        if self.good_bye is None:
            server.transport.close()
        return self.good_bye or "221 bye"


def right(_server: Any, _session: Any, _envelope: Any, _how: str, said: Any) -> AuthResult:
    good = isinstance(said, LoginPassword) and said == LoginPassword(b"orla", SECRET.encode())
    return AuthResult(success=good, handled=False)


@pytest.fixture
def post_office(tmp_path: Path) -> Iterator[tuple[Box, MailServer]]:
    """A mail server that asks for STARTTLS and a sign-in."""
    certificate, private = certified(tmp_path)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, private)
    box = Box()
    running = Controller(
        box, hostname="127.0.0.1", port=own_port(), tls_context=context, require_starttls=True,
        authenticator=right, auth_required=True, decode_data=False,
    )  # fmt: skip
    running.start()
    port = running.server.sockets[0].getsockname()[1]
    yield box, MailServer("localhost", port, "starttls", SENDER, "orla", SECRET, certificate)
    running.stop()


@pytest.fixture
def told(one_nursery: Nursery, service: Service, post_office: tuple[Box, MailServer]) -> Told:
    found = Told(one_nursery, service, post_office[1])
    # The morning of the test has no morning list yet: it is Thursday before work.
    found.nursery.clock.set("2026-09-10T06:30:00+10:00")
    return found


@pytest.fixture
def box(post_office: tuple[Box, MailServer]) -> Box:
    return post_office[0]


MAILED = {"email": "orla@nursery.example", "reach": {"mail": True}}


def test_an_alarm_comes_at_once_as_text_and_as_html_over_starttls(told: Told, box: Box):
    told.person("Orla", role="owner", **MAILED)
    bench = told.place("Soak bench <1>")
    lot = told.soaking(25, bench)
    assert told.turn(seconds=30) == 1
    (one,) = box.taken
    assert box.signed_in == [True]
    assert (one["To"], one["From"]) == (MAILED["email"], SENDER)
    assert one["Subject"] == "Soak bench <1>: 1 due"
    assert one["Auto-Submitted"] == "auto-generated"
    text = one.get_body(("plain",)).get_content()
    html = one.get_body(("html",)).get_content()
    for said in ("26-017-R", "soaking since", "since 10 September, 05:30", "Drain it"):
        assert said in text
        assert said in html
    link = f"https://nursery.example/#/lot/{lot}"
    assert link in text
    assert link in html
    # Nothing that a name brings with it becomes markup.
    assert "<1>" not in html
    assert "&lt;1&gt;" in html
    assert re.search(r"<img|src=|<script", html) is None


def test_the_morning_list_comes_once_at_the_start_of_work_in_walking_order(told: Told, box: Box):
    told.person("Orla", role="owner", **MAILED)
    last, first = told.place("Far bay", order=9), told.place("Soak bench", order=1)
    told.soaking(25, last, "26-001-A")
    told.soaking(25, first, "26-002-B")
    told.turn(seconds=30)
    box.taken.clear()
    for _ in range(4):
        told.turn(minutes=29)
    (one,) = [mail for mail in box.taken if mail["Subject"].startswith("Morning list")]
    text = one.get_body(("plain",)).get_content()
    assert text.index("26-002-B") < text.index("26-001-A")
    assert text.count("[ ]") == 2
    rows = [row for row in told.log() if row["kind"] == "morning"]
    assert [(row["state"], row["to_name"]) for row in rows] == [("taken", "Orla")]


def test_a_morning_on_which_nothing_waits_sends_nothing_and_says_so(told: Told, box: Box):
    told.person("Orla", **MAILED)
    told.turn(hours=1)
    assert box.taken == []
    assert [(row["state"], row["why"]) for row in told.log()] == [("not_sent", "nothing-waits")]


def test_a_day_off_has_no_morning_list(told: Told, box: Box):
    told.person("Orla", works=[1], **MAILED)
    told.turn(hours=2)
    assert told.log() == []


def test_one_message_keeps_its_id_however_often_it_is_sent(told: Told, box: Box):
    """RFC 5322 section 3.6.4; 4xx is for now, RFC 5321 section 4.2.1."""
    told.person("Orla", role="owner", **MAILED)
    box.answers[:] = ["451 busy", "250 taken"]
    told.soaking(25)
    told.turn(seconds=30)
    assert box.taken == []
    told.turn(minutes=1)
    (one,) = box.taken
    (row,) = told.log()
    assert one["Message-ID"] == f"<{row['message']}@nursery.example>"
    assert row["attempts"] == 2


def test_a_refusal_for_good_is_not_tried_again(told: Told, box: Box):
    told.person("Orla", role="owner", **MAILED)
    box.answers[:] = ["554 no"]
    told.soaking(25)
    told.turn(seconds=30)
    assert [(row["state"], row["why"]) for row in told.log()] == [("failed", "mail-refused")]


@pytest.mark.parametrize("answer", ["421 going down", "500 what?", "not a reply", None])
def test_mail_that_was_taken_is_taken_whatever_the_server_says_to_a_good_bye(
    told: Told, box: Box, answer: str | None
):
    """RFC 5321 section 4.2.5: with 250 to its text a server has taken the responsibility."""
    box.good_bye = answer
    told.person("Orla", role="owner", **MAILED)
    told.soaking(25)
    told.turn(seconds=30)
    assert [row["state"] for row in told.log()] == ["taken"]
    told.turn(hours=1)
    assert len([one for one in box.taken if not one["Subject"].startswith("Morning")]) == 1


def test_a_wrong_password_is_nowhere_in_the_log_or_the_rows(
    told: Told, box: Box, caplog: pytest.LogCaptureFixture
):
    caplog.set_level(logging.DEBUG)
    wrong = MailServer(**{**vars(told.ways.server), "password": "battery staple"})
    told.ways.server = wrong
    told.person("Orla", role="owner", **MAILED)
    told.soaking(25)
    told.turn(seconds=30)
    assert box.taken == []
    everything = caplog.text + json.dumps(told.log()) + repr(wrong) + repr(told.ways)
    assert "battery staple" not in everything
    assert "mail was not taken" in caplog.text


HASTE_SECONDS = 0.5


@pytest.fixture
def dripping(monkeypatch: pytest.MonkeyPatch) -> Iterator[MailServer]:
    """A mail server that greets, and answers all else a byte at a time, for ever."""
    monkeypatch.setattr(mail, "LIMIT_SECONDS", HASTE_SECONDS)
    over = threading.Event()
    listening = socket.create_server(("127.0.0.1", 0))

    def answer() -> None:
        with suppress(OSError):
            while True:
                one = listening.accept()[0]
                with one, suppress(OSError):
                    one.sendall(b"220 slowly\r\n250-")
                    while not over.wait(HASTE_SECONDS / 10):
                        one.sendall(b"x")

    drips = threading.Thread(target=answer, daemon=True)
    drips.start()
    yield MailServer("127.0.0.1", listening.getsockname()[1], "none", SENDER)
    over.set()
    listening.shutdown(socket.SHUT_RDWR)
    listening.close()
    drips.join(timeout=10)


def test_a_mail_server_that_drips_is_left_after_the_limit_and_asked_again(
    told: Told, box: Box, dripping: MailServer, monkeypatch: pytest.MonkeyPatch
):
    told.person("Orla", role="owner", **MAILED)
    told.soaking(25)
    ways = told.ways
    told.ways = replace(ways, server=dripping)
    began = time.monotonic()
    told.turn(seconds=30)
    # Byte by byte no single read is ever late; the most is for a machine that is busy.
    assert time.monotonic() - began < 20 * HASTE_SECONDS
    (row,) = told.log()
    assert (row["state"], row["why"], box.taken) == ("waiting", "mail-refused", [])
    told.ways = ways
    monkeypatch.setattr(mail, "LIMIT_SECONDS", 30)
    told.turn(minutes=2)
    assert ([row["state"] for row in told.log()], len(box.taken)) == (["taken"], 1)


@pytest.mark.parametrize(
    "between",
    # Mandatory breaks of Unicode Standard Annex 14, table 1: BK, CR, LF, NL; and Python's own.
    ["\r\n", "\n", "\r", "\x85", "\u2028", "\u2029", "\x0b", "\x0c", "\x1c", " \t "],
    ids=ascii,
)
def test_a_line_break_slips_no_header_in_and_stops_no_mail(between: str):
    title = f"Bench{between}Bcc: a@example.com"
    message = {"title": title, "intro": "", "lines": [], "url": "/#/"}
    made = mail.compose(message, MAILED["email"], SENDER, "x", 0, "").as_bytes()
    read = email.message_from_bytes(made, policy=email.policy.default)
    assert read["Subject"] == "Bench Bcc: a@example.com"
    assert read["Bcc"] is None


def test_a_line_break_in_an_address_is_refused():
    message = {"title": "Bench", "intro": "", "lines": [], "url": "/#/"}
    with pytest.raises(ValueError, match="linefeed"):
        mail.compose(message, "orla@example.com\nBcc: a@example.com", SENDER, "x", 0, "")


def test_the_settings_come_from_a_file_that_only_its_owner_reads_or_from_the_environment(
    tmp_path: Path,
):
    assert read_server(tmp_path, {}) is None
    file = tmp_path / "mail.json"
    file.write_text(json.dumps({"host": "mail.example", "user": SENDER, "password": SECRET}))
    file.chmod(0o644)
    with pytest.raises(BadMailSettings, match="chmod 600"):
        read_server(tmp_path, {})
    file.chmod(0o600)
    assert read_server(tmp_path, {}) == MailServer(
        "mail.example", 587, "starttls", SENDER, SENDER, SECRET
    )
    found = read_server(tmp_path, {"LATHHOUSE_MAIL_PORT": "465", "LATHHOUSE_MAIL_SECURITY": "tls"})
    assert found is not None
    assert (found.port, found.security) == (465, "tls")


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"security": "ssl"}, "starttls, tls or none"),
        ({"security": "none", "password": "x"}, "only with starttls or tls"),
        ({"sender": "nobody"}, "must be an e-mail address"),
        ({"port": "smtp"}, "must be a number"),
    ],
)
def test_settings_that_cannot_be_right_are_refused_in_words(
    tmp_path: Path, said: dict[str, str], says: str
):
    usual = {"host": "mail.example", "sender": SENDER}
    names = {f"LATHHOUSE_MAIL_{name.upper()}": text for name, text in (usual | said).items()}
    with pytest.raises(BadMailSettings, match=says):
        read_server(tmp_path, names)
