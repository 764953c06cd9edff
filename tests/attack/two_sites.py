"""Two nurseries in one database: ours, which the server serves, and another one's whole record."""

import json
import uuid
from dataclasses import dataclass, field
from typing import Any

from flask.testing import FlaskClient
from sqlalchemy import select

from lathhouse.domain.instants import to_ms, to_text
from lathhouse.domain.overlay import FOLD_VERSION
from lathhouse.domain.watches import load_rules
from lathhouse.reminders.clock import catch_up
from lathhouse.store import (
    access,
    calendars,
    deliveries,
    passphrases,
    photos,
    sites,
    subscriptions,
    tries,
)
from lathhouse.store.models import Base, Site, db
from lathhouse.store.work import looking, writing
from lathhouse.sync.push import push
from tests.photos import jpeg, name_of
from tests.server import Nursery

# In every text of the other nursery, and nowhere in ours.
MARK = "Quittenhof"
PICTURE = jpeg(comment=MARK.encode())
PASSPHRASE = "four flats, a wet thumb"
PERSON_ROLES = ("owner", "worker", "viewer")
SUBSCRIPTION = {
    "endpoint": f"https://push.example/{MARK}",
    "keys": {"p256dh": "B" * 87, "auth": "A" * 22},
}


@dataclass
class Other:
    """The other nursery: its site's id, and an id of each thing that it has."""

    site: str
    ids: dict[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> str:
        return self.ids[name]


def settle_beside(nursery: Nursery) -> Other:
    """Put another nursery's record into our database, with one of everything there is."""
    other = Other("ffffffff-0000-7000-8000-000000000000")
    with nursery.app.app_context():
        with db.engine.begin() as connection:
            row = {"id": other.site, "epoch": str(uuid.uuid4()), "revision": 0, "log_position": 0}
            row["fold_version"] = FOLD_VERSION
            connection.execute(Site.__table__.insert(), row)
        now = to_text(nursery.clock.ms)
        writing(other.site, now, sites.renew_shipped)
        fill(other, nursery.clock.ms)
        let_in(other, now)
        catch_up(other.site, nursery.clock.ms)
        other.ids["alert"] = next(iter(ids_of(other, "alerts", now)))
        assert sites.open_site(now, nursery.site) == nursery.site
    return other


def fill(other: Other, now_ms: int) -> None:
    """Record a person, a place, a crop, a watch and a lot with mould and a picture, each marked."""
    for name in ("person", "place", "lot", "pushed", "event", "phone", "device"):
        other.ids[name] = str(uuid.uuid4())
    other.ids |= {"crop": f"{MARK}-crop", "watch": f"{MARK}-watch"}
    person = {"id": other["person"], "name": f"{MARK} Orla", "email": f"orla@{MARK}.example"}
    place = {"id": other["place"], "name": f"{MARK} fridge", "kind": "chamber", "daily": True}
    stages = [{"kind": "germinate", "note": MARK}]
    lot = {"crop": other["crop"], "label": f"{MARK} 1", "place": other["place"]}
    watch = {**load_rules()[0], "id": other["watch"], "next_action": MARK}
    records = [
        ("person_changed", None, person),
        ("place_changed", None, place),
        ("protocol_changed", None, {"id": other["crop"], "botanical": MARK, "stages": stages}),
        ("watch_changed", None, watch),
        ("lot_started", other["lot"], lot),
        ("lot_started", other["pushed"], lot),
        ("photographed", other["lot"], {"sha256": name_of(PICTURE)}),
        ("round_closed", None, {"place": other["place"]}),
        ("looked", other["lot"], {"fungus": "spreading", "note": MARK}),
    ]
    at = to_text(now_ms - 40 * 86_400_000)
    events = [
        {"id": str(uuid.uuid4()), "seq": seq, "kind": kind, "lot": about, "data": data}
        | {"observed_at": at, "by": None}
        for seq, (kind, about, data) in enumerate(records, start=1)
    ]
    # Half a day on, so that the place is kept as it was before.
    events[-2]["observed_at"] = to_text(to_ms(at) + 12 * 3_600_000)
    events[-1]["id"] = other["event"]
    said = push(other.site, other["device"], events, None, now_ms, {"role": "owner"})
    assert said["refused"] == []
    other.ids["photo"] = name_of(PICTURE)
    assert not photos.keep(other.site, other["photo"], PICTURE, to_text(now_ms))


def let_in(other: Other, now: str) -> None:
    """Give the other nursery a script, a paired phone with messages, a link and a calendar."""
    other.ids["token"] = access.add_token(other.site, f"{MARK} script", "owner", now)
    other.ids["link"] = access.make_link(other.site, "owner", None, now, 60)
    spent = access.make_link(other.site, "owner", other["person"], now, 60)
    phone = access.redeem(other.site, spent, other["phone"], f"{MARK} phone", now)
    assert phone is not None
    other.ids["cookie"] = phone["cookie"]
    hash_of = access.hashed(phone["cookie"])
    other.ids["subscription"] = subscriptions.subscribe(other.site, hash_of, SUBSCRIPTION, now)
    forgot = access.make_link(other.site, "owner", other["person"], now, 60, passphrases.PURPOSE)
    browser = {"device": str(uuid.uuid4()), "phone": f"{MARK} browser"}
    assert passphrases.reset(other.site, forgot, PASSPHRASE, browser, None, now) is not None
    assert tries.take(other.site, {MARK: 1}, to_ms(now)) == 0
    recipient = f"person:{other['person']}"
    other.ids["secret"] = calendars.make(other.site, recipient, other["phone"], now)["secret"]
    other.ids["delivery"] = deliveries.add_test(other.site, recipient, "mail", now)


def ids_of(other: Other, table: str, now: str) -> set[str]:
    """Return the ids of the other nursery's rows in a table."""
    return {row["id"] for row in rows_of(other.site, now)[table]}


def rows_of(site_id: str, now: str) -> dict[str, list[dict[str, Any]]]:
    """Return everything that the database holds of a site, by table."""
    tables = [mapper.local_table for mapper in Base.registry.mappers]
    found: dict[str, list[dict[str, Any]]] = {}

    def read(work: Any) -> None:
        for table in tables:
            whose = table.c.id if table.name == "sites" else table.c.site_id
            query = select(table).where(whose == site_id).order_by(*table.primary_key.columns)
            rows = work.connection.execute(query).mappings()
            found[table.name] = [{name: _plain(v) for name, v in row.items()} for row in rows]

    looking(site_id, now, read)
    return found


def _plain(value: Any) -> Any:
    return value.decode("latin-1") if isinstance(value, bytes) else value


def told_of(answer: Any, other: Other, sent: str) -> list[str]:
    """Return what an answer tells of the other nursery, beyond what was sent with the request."""
    whole = _plain(answer.get_data()) + answer.get_data().decode(errors="replace")
    whole += json.dumps(list(answer.headers.items()))
    known = {*other.ids.values(), other.site, MARK}
    return sorted(one for one in known if one in whole and one not in sent)


class Caller:
    """Somebody who asks our server for something, and how the server knows them."""

    def __init__(self, client: FlaskClient, headers: dict[str, str] | None = None) -> None:
        self.client, self.headers = client, headers or {}

    def ask(self, method: str, path: str, body: Any) -> Any:
        """Send a request: octets as a picture, anything else as JSON."""
        sent: dict[str, Any] = {} if body is None else {"json": body}
        if isinstance(body, bytes):
            sent = {"data": body, "content_type": "image/jpeg"}
        return self.client.open(path, method=method, headers=self.headers, **sent)


def callers(nursery: Nursery, other: Other) -> dict[str, Caller]:
    """Return everybody who may come to our door, by name."""
    everybody = {"nobody": Caller(nursery.app.test_client())}
    for role in access.ROLES:
        everybody[f"{role}'s token"] = with_token(nursery, nursery.token(role))
    for role in PERSON_ROLES:
        everybody[f"{role}'s phone"] = paired(nursery, role)
    everybody["cut-off phone"] = paired(nursery, "owner", cut_off=True)
    everybody["revoked token"] = with_token(nursery, revoked(nursery))
    everybody["other site's token"] = with_token(nursery, other["token"])
    stranger = nursery.app.test_client()
    stranger.set_cookie("lathhouse_session", other["cookie"])
    everybody["other site's phone"] = Caller(stranger)
    return everybody


def with_token(nursery: Nursery, token: str) -> Caller:
    """Return a script."""
    return Caller(nursery.app.test_client(), {"Authorization": f"Bearer {token}"})


def paired(nursery: Nursery, role: str, *, cut_off: bool = False) -> Caller:
    """Return a phone of ours that was paired, and perhaps cut off since."""
    link = nursery.call("POST", "/api/v1/pairings", {"role": role}).json["link"]
    phone, device = nursery.app.test_client(), str(uuid.uuid4())
    body = {"secret": link.rsplit("/", 1)[1], "device": device}
    assert phone.post("/api/v1/pairings/redeem", json=body).status_code == 200
    if cut_off:
        said = nursery.call("POST", f"/api/v1/phones/{device}/cut-off", {})
        assert said.status_code == 200
    return Caller(phone)


def revoked(nursery: Nursery) -> str:
    """Return an owner's token that was revoked."""
    with nursery.app.app_context():
        now = to_text(nursery.clock.ms)
        token = access.add_token(nursery.site, "revoked", "owner", now)
    nursery.revoke("revoked")
    return token
