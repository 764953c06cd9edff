"""Tables. `site_id` leads every key, so that the data can be sharded by site."""

from flask_sqlalchemy import SQLAlchemy
from sqlalchemy import BigInteger, Boolean, Index, Integer, LargeBinary, Text, text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    """Base of the tables."""


db = SQLAlchemy(model_class=Base)


class Site(Base):
    """A nursery: its counters, and the epoch that changes when its record is restored."""

    __tablename__ = "sites"
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    epoch: Mapped[str] = mapped_column(Text)
    revision: Mapped[int] = mapped_column(BigInteger, default=0)
    log_position: Mapped[int] = mapped_column(BigInteger, default=0)
    clock_owner: Mapped[str | None] = mapped_column(Text)
    clock_until: Mapped[str | None] = mapped_column(Text)
    # By which fold the derived rows were made; None: by one from before there was a number.
    fold_version: Mapped[int | None] = mapped_column(Integer)
    # How far that fold has come, as JSON, while it is under way or was cut off; None once it is
    # whole.
    refolding: Mapped[str | None] = mapped_column(Text)
    # When the server's clock was in no doubt last.
    trusted_at: Mapped[str | None] = mapped_column(Text)


class Event(Base):
    """One immutable event; `body` is the event as it was sent, and what was fixed at receipt."""

    __tablename__ = "events"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    position: Mapped[int] = mapped_column(BigInteger)
    device_id: Mapped[str] = mapped_column(Text)
    seq: Mapped[int] = mapped_column(BigInteger)
    kind: Mapped[str] = mapped_column(Text)
    lot_id: Mapped[str | None] = mapped_column(Text)
    of_id: Mapped[str | None] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)
    hash: Mapped[str] = mapped_column(Text)
    body: Mapped[str] = mapped_column(Text)
    chain: Mapped[str] = mapped_column(Text)
    device_chain: Mapped[str] = mapped_column(Text)
    __table_args__ = (
        Index("events_by_position", "site_id", "position", unique=True),
        Index("events_by_lot", "site_id", "lot_id"),
        Index("events_by_target", "site_id", "of_id"),
        Index("events_by_time", "site_id", "at"),
    )


class ChainHead(Base):
    """The head of the log's chain (`of` is empty), or of one device's, and its length."""

    __tablename__ = "chain_heads"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    of: Mapped[str] = mapped_column(Text, primary_key=True)
    head: Mapped[str] = mapped_column(Text)
    length: Mapped[int] = mapped_column(BigInteger)


class Backup(Base):
    """A backup that was read back and found whole: what it holds, and of each device how far."""

    __tablename__ = "backups"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    at: Mapped[str] = mapped_column(Text, primary_key=True)
    file: Mapped[str] = mapped_column(Text)
    events: Mapped[int] = mapped_column(BigInteger)
    chain: Mapped[str] = mapped_column(Text)
    seqs: Mapped[str] = mapped_column(Text)


class EventLink(Base):
    """What else an event is about: parents, a potted child, a corrected lot, a place, a row."""

    __tablename__ = "event_links"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    subject_kind: Mapped[str] = mapped_column(Text, primary_key=True)
    subject_id: Mapped[str] = mapped_column(Text, primary_key=True)
    event_id: Mapped[str] = mapped_column(Text, primary_key=True)


class Subject(Base):
    """Anything that is watched or pulled: a lot, place, person, protocol, watch, phone, nursery."""

    __tablename__ = "subjects"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    kind: Mapped[str] = mapped_column(Text, primary_key=True)
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    place_id: Mapped[str | None] = mapped_column(Text)
    live: Mapped[bool] = mapped_column(Boolean, default=True)
    seen_at: Mapped[str | None] = mapped_column(Text)
    next_deadline: Mapped[str | None] = mapped_column(Text)
    data: Mapped[str] = mapped_column(Text)
    checkpoint: Mapped[str | None] = mapped_column(Text)
    checkpoint_at: Mapped[str | None] = mapped_column(Text)
    tail: Mapped[str | None] = mapped_column(Text)
    weather: Mapped[str | None] = mapped_column(Text)
    spreading_at: Mapped[str | None] = mapped_column(Text)
    # When a lot was last taken out of a place; which ones is in its row.
    left_at: Mapped[str | None] = mapped_column(Text)
    revision: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (
        Index(
            "subjects_spreading",
            "site_id",
            "place_id",
            sqlite_where=text("spreading_at IS NOT NULL"),
            postgresql_where=text("spreading_at IS NOT NULL"),
        ),
        Index(
            "subjects_by_leaving",
            "site_id",
            "left_at",
            sqlite_where=text("left_at IS NOT NULL"),
            postgresql_where=text("left_at IS NOT NULL"),
        ),
        Index("subjects_by_revision", "site_id", "revision", "kind", "id"),
        Index("subjects_by_deadline", "site_id", "next_deadline"),
        Index("subjects_by_place", "site_id", "kind", "place_id", "live", "seen_at"),
        Index(
            "subjects_by_weather",
            "site_id",
            "kind",
            "place_id",
            "id",
            sqlite_where=text("weather IS NOT NULL"),
            postgresql_where=text("weather IS NOT NULL"),
        ),
    )


class RowMark(Base):
    """A row with a long log as it was at an instant, so that what comes late is folded from there.

    Nothing is lost with it: the log says it all again.
    """

    __tablename__ = "row_marks"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    kind: Mapped[str] = mapped_column(Text, primary_key=True)
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    # Every event up to this instant is in it, and none that is later.
    until: Mapped[str] = mapped_column(Text, primary_key=True)
    data: Mapped[str] = mapped_column(Text)


class Alert(Base):
    """One finding's row, from raised to cleared; `standing` while its condition holds."""

    __tablename__ = "alerts"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    watch: Mapped[str] = mapped_column(Text)
    subject_kind: Mapped[str] = mapped_column(Text)
    subject_id: Mapped[str] = mapped_column(Text)
    standing: Mapped[bool] = mapped_column(Boolean)
    state: Mapped[str] = mapped_column(Text)
    data: Mapped[str] = mapped_column(Text)
    revision: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = (
        Index("alerts_by_revision", "site_id", "revision", "id"),
        Index("alerts_by_subject", "site_id", "subject_kind", "subject_id", "standing"),
    )


class Photo(Base):
    """A picture's octets, under the SHA-256 by which a `photographed` event names them."""

    __tablename__ = "photos"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    sha256: Mapped[str] = mapped_column(Text, primary_key=True)
    size_bytes: Mapped[int] = mapped_column(Integer)
    received_at: Mapped[str] = mapped_column(Text)
    octets: Mapped[bytes] = mapped_column(LargeBinary)


class RefusedEvent(Base):
    """A refused item, whole, until a later record mends it."""

    __tablename__ = "refusals"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    device_id: Mapped[str] = mapped_column(Text, primary_key=True)
    hash: Mapped[str] = mapped_column(Text, primary_key=True)
    event_id: Mapped[str | None] = mapped_column(Text)
    seq: Mapped[int | None] = mapped_column(BigInteger)
    body: Mapped[str] = mapped_column(Text)
    problem: Mapped[str] = mapped_column(Text)
    at: Mapped[str] = mapped_column(Text)
    mended_by: Mapped[str | None] = mapped_column(Text)
    __table_args__ = (Index("refusals_by_event", "site_id", "event_id"),)


class Contact(Base):
    """An hour in which a device was in touch, and when in it first and last.

    Silences that are over are read from it: the device's row knows its last contact alone.
    """

    __tablename__ = "contacts"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    device_id: Mapped[str] = mapped_column(Text, primary_key=True)
    hour: Mapped[str] = mapped_column(Text, primary_key=True)
    first_at: Mapped[str] = mapped_column(Text)
    last_at: Mapped[str] = mapped_column(Text)


class Token(Base):
    """A bearer token, kept as a fast hash: it is long random text."""

    __tablename__ = "tokens"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    hash: Mapped[str] = mapped_column(Text, primary_key=True)
    name: Mapped[str] = mapped_column(Text)
    role: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(Text)
    revoked_at: Mapped[str | None] = mapped_column(Text)
    # The day of its last use; hours are not kept.
    used_at: Mapped[str | None] = mapped_column(Text)


class Passphrase(Base):
    """A person's passphrase, kept as an Argon2id hash with its own salt and parameters."""

    __tablename__ = "passphrases"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    person_id: Mapped[str] = mapped_column(Text, primary_key=True)
    hash: Mapped[str] = mapped_column(Text)
    set_at: Mapped[str] = mapped_column(Text)


class KnownBrowser(Base):
    """A browser in which a person signed in, kept as the hash of a cookie that opens nothing."""

    __tablename__ = "known_browsers"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    hash: Mapped[str] = mapped_column(Text, primary_key=True)
    person_id: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(Text)


class FailedTry(Base):
    """When tries failed of late, of one address, account or browser."""

    __tablename__ = "failed_tries"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    of: Mapped[str] = mapped_column(Text, primary_key=True)
    at_ms: Mapped[str] = mapped_column(Text)
    last_ms: Mapped[int] = mapped_column(BigInteger)


class Session(Base):
    """A phone's or browser's session, kept as the hash of its cookie."""

    __tablename__ = "sessions"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    hash: Mapped[str] = mapped_column(Text, primary_key=True)
    device_id: Mapped[str | None] = mapped_column(Text)
    person_id: Mapped[str | None] = mapped_column(Text)
    role: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(Text)
    expires_at: Mapped[str] = mapped_column(Text)
    revoked_at: Mapped[str | None] = mapped_column(Text)
    # Whose it surely is: the owner's link or a passphrase said so. `person_id` is who carries it.
    proved_id: Mapped[str | None] = mapped_column(Text)
    by_passphrase: Mapped[bool | None] = mapped_column(Boolean)
    seen_at: Mapped[str | None] = mapped_column(Text)


class Pairing(Base):
    """A link that is good once."""

    __tablename__ = "pairings"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    hash: Mapped[str] = mapped_column(Text, primary_key=True)
    role: Mapped[str] = mapped_column(Text)
    person_id: Mapped[str | None] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(Text)
    expires_at: Mapped[str] = mapped_column(Text)
    used_at: Mapped[str | None] = mapped_column(Text)
    tries: Mapped[int] = mapped_column(Integer, default=0)
    # None pairs a phone; "passphrase" lets a person set a new one.
    purpose: Mapped[str | None] = mapped_column(Text)


class Calendar(Base):
    """The address of a person's calendar feed, kept as the hash of its secret."""

    __tablename__ = "calendars"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    recipient: Mapped[str] = mapped_column(Text, primary_key=True)
    hash: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(Text)
    # The phone that made it, which knows it; None for a script's and a visitor's.
    device_id: Mapped[str | None] = mapped_column(Text)
    __table_args__ = (Index("calendars_by_hash", "site_id", "hash", unique=True),)


class CalendarEntry(Base):
    """An entry that the feeds have given out, as it was last, until a month after it was over."""

    __tablename__ = "calendar_entries"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    uid: Mapped[str] = mapped_column(Text, primary_key=True)
    body: Mapped[str] = mapped_column(Text)
    sequence: Mapped[int] = mapped_column(Integer)
    changed_at: Mapped[str] = mapped_column(Text)
    cancelled_at: Mapped[str | None] = mapped_column(Text)


class Delivery(Base):
    """One person's message of one state of one alert, from planned to taken or given up."""

    __tablename__ = "deliveries"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    alert_id: Mapped[str] = mapped_column(Text)
    step: Mapped[str] = mapped_column(Text)
    channel: Mapped[str] = mapped_column(Text)
    recipient: Mapped[str] = mapped_column(Text)
    kind: Mapped[str] = mapped_column(Text)
    group_key: Mapped[str] = mapped_column(Text)
    state: Mapped[str] = mapped_column(Text)
    why: Mapped[str | None] = mapped_column(Text)
    due_at: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(Text)
    ended_at: Mapped[str | None] = mapped_column(Text)
    message_id: Mapped[str | None] = mapped_column(Text)
    attempts: Mapped[int] = mapped_column(Integer, default=0)
    data: Mapped[str] = mapped_column(Text)
    __table_args__ = (
        Index(
            "deliveries_once",
            *("site_id", "alert_id", "step", "channel", "recipient"),
            unique=True,
        ),
        Index("deliveries_by_state", "site_id", "state", "due_at"),
        Index("deliveries_by_message", "site_id", "message_id"),
        Index("deliveries_by_recipient", "site_id", "recipient", "id"),
    )


class PushSubscription(Base):
    """Where a phone's browser takes messages; it ends with the session that made it."""

    __tablename__ = "push_subscriptions"
    site_id: Mapped[str] = mapped_column(Text, primary_key=True)
    id: Mapped[str] = mapped_column(Text, primary_key=True)
    session_hash: Mapped[str] = mapped_column(Text)
    endpoint: Mapped[str] = mapped_column(Text)
    p256dh: Mapped[str] = mapped_column(Text)
    auth: Mapped[str] = mapped_column(Text)
    made_at: Mapped[str] = mapped_column(Text)
    dropped_at: Mapped[str | None] = mapped_column(Text)
    why: Mapped[str | None] = mapped_column(Text)
    __table_args__ = (Index("push_subscriptions_by_session", "site_id", "session_hash"),)
