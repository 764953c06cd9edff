"""The sender: takes what is due from the queue, sends it, and notes what came of it.

A message is marked as under way before it leaves and as taken after: killed in between, it is sent
once more under the same id. So a message is never lost, and the second copy takes the place of the
first: by `Topic` at the push service, by `tag` on the phone, by Message-ID in the mail. Once noted
as taken it is never sent again.
"""

import json
import logging
import smtplib
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from cryptography.hazmat.primitives.asymmetric import ec
from flask import Flask

from lathhouse.domain import reaching, reaching_words
from lathhouse.domain.instants import to_text
from lathhouse.errors import AnotherFold
from lathhouse.reminders import mail, outside, webpush
from lathhouse.store import claims, config, deliveries, subscriptions
from lathhouse.store.deliveries import FAILED, MORNING, NOT_SENT, TAKEN, TEST, WAITING
from lathhouse.store.work import Work, looking, writing

EVERY_SECONDS = 3.0
IN_ONE_TURN_MAX = 100
HOUR_SECONDS = 3600
# By priority: how long a push service keeps a message for a phone that is off, and how it hurries
# (RFC 8030 sections 5.2 and 5.3). Our own choices.
KEPT_SECONDS = {1: 4 * HOUR_SECONDS, 2: 12 * HOUR_SECONDS}
KEPT_ELSE_SECONDS = 24 * HOUR_SECONDS
# No longer than until quiet hours begin, but so long at least: a phone that sleeps answers within
# minutes, and what leaves just before them is better five minutes late than lost. Ours.
KEPT_MIN_SECONDS = 300
URGENCY = {1: "high", 2: "normal"}
URGENCY_ELSE = "low"
# Of a place with a very long name; a phone shows less. Ours.
TITLE_MAX = 200
GONE = (404, 410)
LATER = (408, 429, 500, 502, 503, 504)

Data = dict[str, Any]
log = logging.getLogger(__name__)


@dataclass
class Ways:
    """By what messages leave: the signing key, the mail server, and who we say that we are."""

    key: ec.EllipticCurvePrivateKey
    server: mail.MailServer | None = None
    address: str = ""
    contact: str = ""
    inner: bool = False
    trusted: Path | None = None
    post: Callable[..., outside.Answer] = outside.post
    hand_in: Callable[..., None] = mail.send
    public_key: str = field(init=False)

    def __post_init__(self) -> None:
        self.public_key = webpush.b64u(webpush.raw(self.key))

    def subject(self, people: list[Data]) -> str | None:
        """Return whom a push service can turn to: a real mailto or https, or None (FAULTS F24)."""
        if self.contact:
            return self.contact if ":" in self.contact else f"mailto:{self.contact}"
        owners = sorted(people, key=lambda one: one.get("role") != "owner")
        emails = [one["email"] for one in owners if one.get("email")]
        if emails:
            return f"mailto:{emails[0]}"
        host = urlsplit(self.address).hostname or ""
        real = self.address.startswith("https://") and "." in host and not host.endswith(".local")
        return self.address.rstrip("/") if real else None


@dataclass(frozen=True)
class Outcome:
    """What came of one try."""

    state: str
    why: str | None = None
    after_ms: int | None = None
    # By subscription, where it went to phones.
    phones: dict[str, str] = field(default_factory=dict)


def send_due(
    site_id: str,
    ways: Ways,
    now_ms: Callable[[], int],
    stopped: Callable[[], bool] = lambda: False,
) -> int:
    """Send the messages that are due, up to a bound; return how many left."""
    deliveries.plan_morning(site_id, to_text(now_ms()))
    sent = 0
    for _ in range(IN_ONE_TURN_MAX):
        message = None if stopped() else claims.claim(site_id, to_text(now_ms()))
        if message is None:
            break
        if message["rows"]:
            _send_or_note(site_id, ways, message, now_ms)
            sent += 1
    return sent


def _send_or_note(site_id: str, ways: Ways, message: Data, now_ms: Callable[[], int]) -> None:
    """Send a message; one on which we ourselves fail is tried as often as any other, and no more.

    It holds up none of the others, and the log that people read says how it ended.
    """
    try:
        send_one(site_id, ways, message, now_ms)
    except Exception:
        log.exception("message %s could not be sent", message["id"])
        claims.try_again(site_id, message, claims.FAULT, None, to_text(now_ms()))


def send_one(site_id: str, ways: Ways, message: Data, now_ms: Callable[[], int]) -> None:
    """Send one claimed message, and note what came of it."""
    text = words_of(site_id, message, to_text(now_ms()))
    if text is None:
        claims.finish(site_id, message, NOT_SENT, "nothing-waits", to_text(now_ms()))
        return
    by = by_push if message["channel"] == "push" else by_mail
    outcome = by(site_id, ways, message, text, now_ms())
    now, phones = to_text(now_ms()), outcome.phones
    if outcome.state == WAITING:
        claims.try_again(site_id, message, str(outcome.why), outcome.after_ms, now, phones)
    else:
        claims.finish(site_id, message, outcome.state, outcome.why, now, phones)


def words_of(site_id: str, message: Data, now: str) -> Data | None:
    """Return what the message says, or None for a morning on which nothing waits."""
    kinds = {row["kind"] for row in message["rows"]}
    if TEST in kinds:
        return reaching_words.test_message()

    def read(work: Work) -> tuple[Data, list[Any]]:
        nursery = config.data_of(work, "nursery", work.site_id) or {}
        return config.rows_of_kind(work, "place"), nursery.get("offsets") or []

    places, offsets = looking(site_id, now, read)
    if MORNING in kinds:
        standing = deliveries.standing(site_id, now)
        return reaching_words.morning_of(standing, places, offsets) if standing else None
    alerts = [message["alerts"][row["alert_id"]] for row in message["rows"]]
    return reaching_words.message_of(message["rows"], alerts, places, offsets)


def by_push(site_id: str, ways: Ways, message: Data, text: Data, now_ms: int) -> Outcome:
    """Send a message to each phone of its person that has not had it.

    It waits while one of them may yet take it; else it is taken where one of them took it.
    """

    def read(work: Work) -> tuple[list[Any], list[Data], int]:
        people = list(config.rows_of_kind(work, "person").values())
        phones = subscriptions.live_subscriptions(work).get(message["recipient"], [])
        return phones, people, kept_seconds(work, message, text, now_ms)

    phones, people, kept = looking(site_id, to_text(now_ms), read)
    if not phones:
        return Outcome(FAILED, "no-phone")
    subject = ways.subject(people)
    if subject is None:
        return Outcome(FAILED, "no-contact")
    done = _done(message)
    found = {
        phone["id"]: _push_to(site_id, ways, phone, message, text, subject, kept, now_ms)
        for phone in phones
        if phone["id"] not in done
    }
    states = done | {name: one.state for name, one in found.items()}
    waiting = [one for one in found.values() if one.state == WAITING]
    if waiting:
        longest = max((one.after_ms or 0 for one in waiting), default=0)
        return Outcome(WAITING, waiting[0].why, longest, states)
    if TAKEN in states.values():
        return Outcome(TAKEN, phones=states)
    return Outcome(FAILED, next((one.why for one in found.values()), "no-phone"), phones=states)


def _done(message: Data) -> Data:
    """Return {subscription: state} of the phones that are through with all of a message."""
    heard = [claims.phones_of(row) for row in message["rows"]]
    first, rest = heard[0], heard[1:]
    return {
        name: state
        for name, state in first.items()
        if state != WAITING and all(one.get(name) == state for one in rest)
    }


def kept_seconds(work: Work, message: Data, text: Data, now_ms: int) -> int:
    """Return how long a push service is to keep a message for a phone that is off."""
    nursery = {
        "offsets": [],
        **(config.data_of(work, "nursery", work.site_id) or config.NEW_NURSERY),
    }
    person = config.data_of(work, "person", message["recipient"].partition(":")[2]) or {}
    longest = KEPT_SECONDS.get(text["priority"], KEPT_ELSE_SECONDS)
    until_ms = reaching.kept_until(list(message["alerts"].values()), person, now_ms, nursery)
    left = longest if until_ms is None else (until_ms - now_ms) // 1000
    return max(KEPT_MIN_SECONDS, min(longest, left))


def _push_to(
    site_id: str,
    ways: Ways,
    phone: Data,
    message: Data,
    text: Data,
    subject: str,
    kept: int,
    now_ms: int,
) -> Outcome:
    parts = urlsplit(phone["endpoint"])
    origin = f"https://{parts.netloc}"
    theirs = webpush.from_b64u(phone["p256dh"]), webpush.from_b64u(phone["auth"])
    try:
        body = webpush.encrypt(payload(message, text), *theirs)
    except ValueError:
        _drop(site_id, phone, "bad-key", now_ms)
        return Outcome(FAILED, "bad-key")
    headers = {
        "Authorization": webpush.signed(ways.key, origin, subject, now_ms // 1000),
        "Content-Encoding": "aes128gcm",
        "Content-Type": "application/octet-stream",
        "TTL": str(kept),
        "Urgency": URGENCY.get(text["priority"], URGENCY_ELSE),
        # RFC 8030 section 5.4: a second one of the same topic takes the place of the first.
        "Topic": message["id"],
    }
    try:
        answer = ways.post(phone["endpoint"], body, headers, inner=ways.inner, trusted=ways.trusted)
    except outside.NotThere as error:
        log.info("push to %s: %s", parts.hostname, error)
        return Outcome(FAILED if error.lasting else WAITING, "not-reached")
    if 200 <= answer.status < 300:
        return Outcome(TAKEN)
    log.info("push to %s: answered %d", parts.hostname, answer.status)
    if answer.status in GONE:
        _drop(site_id, phone, "gone", now_ms)
        return Outcome(FAILED, "gone")
    if answer.status in LATER:
        return Outcome(WAITING, "busy", answer.retry_after_ms)
    return Outcome(FAILED, "refused")


def _drop(site_id: str, phone: Data, why: str, now_ms: int) -> None:
    writing(site_id, to_text(now_ms), lambda work: subscriptions.drop(work, [phone["id"]], why))


def payload(message: Data, text: Data) -> bytes:
    """Return what the phone shows: title, text, where a touch leads, and what it replaces."""
    title = text["title"]
    title = title if len(title) <= TITLE_MAX else title[: TITLE_MAX - 2].rstrip() + " …"
    shown = {"title": title, "body": reaching_words.push_text(text), "url": text["url"]}
    shown |= {"tag": message["id"], "grave": text["priority"] == 1}
    octets = json.dumps(shown, ensure_ascii=False).encode()
    while len(octets) > webpush.PLAIN_MAX_BYTES:
        shown["body"] = shown["body"][: len(shown["body"]) * 3 // 4].rstrip() + " …"
        octets = json.dumps(shown, ensure_ascii=False).encode()
    return octets


def by_mail(site_id: str, ways: Ways, message: Data, text: Data, now_ms: int) -> Outcome:
    """Hand a message to the owner's mail server."""
    if ways.server is None:
        return Outcome(FAILED, "no-mail-server")
    person = looking(
        site_id,
        to_text(now_ms),
        lambda work: config.data_of(work, "person", message["recipient"].partition(":")[2]),
    )
    to = (person or {}).get("email")
    if not to:
        return Outcome(FAILED, "no-address")
    address = ways.address.rstrip("/")
    try:
        letter = mail.compose(text, to, ways.server.sender, message["id"], now_ms, address)
        ways.hand_in(ways.server, letter)
    except ValueError:
        return Outcome(FAILED, "refused")
    except (smtplib.SMTPException, OSError) as error:
        # The kind alone: a mail server's words may repeat what was sent to it.
        log.info("mail was not taken: %s", type(error).__name__)
        return Outcome(FAILED if mail.is_lasting(error) else WAITING, "mail-refused")
    return Outcome(TAKEN)


class Sender:
    """A thread that sends; any number may run, since each message is leased by its own row."""

    def __init__(self, app: Flask, site_id: str, ways: Ways, now_ms: Callable[[], int]) -> None:
        self.app, self.site_id, self.ways, self.now_ms = app, site_id, ways, now_ms
        self.resting = False
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="sender", daemon=True)

    def start(self) -> None:
        """Begin sending."""
        self._thread.start()

    def stop(self) -> None:
        """Stop sending, after the turn under way, or leave it to its lease."""
        self._stop.set()
        self._thread.join(timeout=outside.LIMIT_SECONDS + mail.LIMIT_SECONDS)

    def _run(self) -> None:
        while not self._stop.wait(EVERY_SECONDS):
            with self.app.app_context():
                try:
                    send_due(self.site_id, self.ways, self.now_ms, stopped=self._stop.is_set)
                except AnotherFold as refusal:
                    if not self.resting:
                        log.error("the sender rests: %s", refusal)
                    self.resting = True
                except Exception:
                    # What was not sent is still in the queue; the reason is in the log.
                    log.exception("the sender could not send")
