"""The one way in: append events, derive what they change, and bring the alerts up to date."""

import json
from collections.abc import Iterable
from typing import Any

from lathhouse.domain.facts import is_live
from lathhouse.domain.neighbours import spreading_since
from lathhouse.domain.protocols import load_crops
from lathhouse.domain.rows import ROW_KINDS
from lathhouse.store import alerts, config, lots, phones, weather
from lathhouse.store.log import Log, aim_answers, named_subjects
from lathhouse.store.models import Subject
from lathhouse.store.watching import WATCHED, AtSubject, Watcher, stored_rows, watch_rows
from lathhouse.store.work import Row, Work, dumps

Data = dict[str, Any]
# A change to one of these is a change to what every lot is watched by.
CHANGES_WATCHING = ("protocol", "watch", "nursery", "person")
# What readings, rounds and answers say of the nursery: no lot's watches look at it.
SAID_OF_NURSERY = {
    "answers", "closed_at", "closed_skipped", "closed_by", "entered_at", "folded_at",
    "last_read", "forecasts", "cold", "warm", "heat",
}  # fmt: skip
# What the time at which covers come off rests on.
TELLS_NIGHTS = {"forecasts", "latitude_deg", "longitude_deg", "offsets"}
# What may change how a whole place was treated, and so its lots.
MAY_TREAT = {"treated", "amended", "voided"}


def lock_keys(site_id: str, events: list[Data]) -> set[str]:
    """Return the locks that events need, as far as they say themselves what they are about."""
    keys = {f"lot:{event['lot']}" for event in events if event["lot"]}
    for event in events:
        keys |= {f"{kind}:{subject}" for kind, subject in named_subjects(event, site_id)}
    return keys


def append(work: Work, added: list[Data], phone: Data | None, others: Iterable[Data] = ()) -> int:
    """Append new, checked events and everything that follows; return the revision.

    Args:
        added: events with `device`, `at`, `received_at` and `hash` fixed.
        phone: the device's row as it is now, to be written with the rest.
        others: rows of other devices, to be written likewise.
    """
    aim_answers(work, added)
    log = _locked(work, added)
    work.who, work.who_last = log.who()
    work.records = bool(added)
    work.given = said_for_others(added, phone)
    before: dict[str, Row] = {}
    found = lots.derive_lots(log, before)
    rows = config.derive_rows(log, work.now)
    rows |= crops_in_use(work, found)
    if phone is not None:
        phones.mend(work, added)
    for row in (*others, *filter(None, (phone,))):
        row["refused_since"] = phones.refused_since(work, row["id"])
        if row["last_sync_at"] == work.now:
            phones.keep_contact(work, row["id"])
        rows[("phone", row["id"])] = phones.with_answers(log, row)
    revision, position = work.raise_revision(len(added))
    log.write(position)
    watcher = Watcher(work, rows)
    started = {lot: shot for lot, shot in found.items() if shot["lot"] or lot in before}
    _write_lots(work, watcher, started, revision)
    places = {before[lot]["place_id"] for lot in started if lot in before}
    places |= {shot["lot"]["place"] for shot in started.values() if shot["lot"]}
    places |= taken_from(started, {lot: before[lot] for lot in started if lot in before})
    around = {("place", place) for place in places if place} - rows.keys()
    # What is covered in a place, and what stands there, the nursery's frost watch looks at too.
    felt = started or any(kind == "place" for kind, _ in rows)
    around |= {("nursery", work.site_id)} - rows.keys() if felt else set()
    changed = nursery_changes(work, rows)
    write_rows(work, watcher, {**stored_rows(work, around), **rows}, set(rows), revision)
    if changed - SAID_OF_NURSERY or _set_up(rows):
        watch_all_again(work)
    watch_dipped_again(work, rows, set(found))
    if changed & TELLS_NIGHTS:
        watch_covered_again(work, watcher, rows)
    treated = rows if {event["kind"] for event in added} & MAY_TREAT else {}
    watch_beside_again(work, before, found, {at for kind, at in treated if kind == "place"})
    return revision


def said_for_others(added: list[Data], phone: Data | None) -> set[tuple[str, str]]:
    """Return (when, who has it) of each "I have it" whose person does not carry the phone.

    Of a phone only: a script that names people (it may be silent for ever) tells them itself.
    """
    if phone is None or phone.get("silent_ok") is True:
        return set()
    return {
        (event["at"], event["by"])
        for event in added
        if event["kind"] == "acknowledged" and event["by"] not in (None, phone["person"])
    }


def _locked(work: Work, added: list[Data]) -> Log:
    """Return the log with everything locked that these events are about.

    What a correction moves an event from and to is known once the log has been read: it is read
    again under those locks, since another correction of the same event may have come between.
    """
    held: set[str] = set()
    while True:
        log = Log(work, added)
        wanted = {f"{kind}:{subject}" for kind, subject in log.links} - held
        if not wanted:
            return log
        held |= work.lock(wanted)
        if not log.corrections:
            return log


def changes_watching(added: list[Data]) -> bool:
    """Say whether these events change what every subject is watched by."""
    return any(ROW_KINDS.get(event["kind"]) in CHANGES_WATCHING for event in added)


def _set_up(rows: dict[AtSubject, Data]) -> bool:
    """Say whether a crop, a watch or a person is among changed rows."""
    return any(kind in CHANGES_WATCHING and kind != "nursery" for kind, _ in rows)


def nursery_changes(work: Work, rows: dict[AtSubject, Data]) -> set[str]:
    """Return what changes in the nursery's row, by name, where it is among changed rows: a
    thermometer that hangs on the nursery writes it at every reading."""
    at = ("nursery", work.site_id)
    if at not in rows:
        return set()
    before, after = stored_rows(work, {at}).get(at) or {}, rows[at]
    return {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}


def crops_in_use(work: Work, found: dict[str, Row]) -> dict[AtSubject, Data]:
    """Return rows for the shipped crops that a lot uses for the first time."""
    wanted = {shot["lot"]["crop"] for shot in found.values() if shot["lot"]} & load_crops().keys()
    known = (
        {row["id"] for row in work.rows(Subject, Subject.kind == "protocol")} if wanted else set()
    )
    crops = load_crops()
    return {("protocol", crop): {**crops[crop], "shipped": True} for crop in wanted - known}


def _write_lots(work: Work, watcher: Watcher, found: dict[str, Row], revision: int) -> None:
    rows: dict[AtSubject, Data] = {
        ("lot", lot): shot["lot"] or {"id": lot, "gone": True} for lot, shot in found.items()
    }
    deadlines, changed = watch_rows(work, watcher, rows)
    written = [
        lot_row(lot, shot, watcher.crops, deadlines[("lot", lot)], revision)
        for lot, shot in found.items()
    ]
    work.upsert(Subject, written, ("kind", "id"))
    alerts.write(work, changed, revision)


def lot_row(
    lot: str, shot: Row, crops: dict[str, Data], deadline: str | None, revision: int
) -> Row:
    """Return the table row of a lot, with what is kept beside its fold."""
    data = shot["lot"] or {"id": lot, "gone": True}
    return {
        "kind": "lot",
        "id": lot,
        "place_id": data.get("place"),
        "live": bool(shot["lot"]) and is_live(shot["lot"]),
        "seen_at": data.get("seen_at"),
        "next_deadline": deadline,
        "data": dumps(data),
        "checkpoint": dumps(shot["checkpoint"]),
        "checkpoint_at": shot["checkpoint_at"],
        "tail": dumps(shot["tail"]),
        "weather": weather.entry_text(data, crops),
        "spreading_at": spreading_since(shot["lot"]) if shot["lot"] else None,
        "left_at": max((left["at"] for left in data.get("left") or []), default=None),
        "revision": revision,
    }


def write_rows(
    work: Work,
    watcher: Watcher,
    rows: dict[AtSubject, Data],
    changed_rows: set[AtSubject],
    revision: int,
) -> None:
    """Write changed rows, and the deadlines and alerts of all of these."""
    deadlines, changed = watch_rows(work, watcher, rows)
    work.upsert(
        Subject,
        [
            plain_row(kind, subject, data, deadlines[(kind, subject)], revision)
            for (kind, subject), data in rows.items()
            if (kind, subject) in changed_rows
        ],
        ("kind", "id"),
    )
    set_deadlines(work, {at: deadlines[at] for at in rows.keys() - changed_rows})
    alerts.write(work, changed, revision)


def plain_row(kind: str, subject: str, data: Data, deadline: str | None, revision: int) -> Row:
    """Return the table row of a subject that is not a lot."""
    return {
        "kind": kind,
        "id": subject,
        "place_id": None,
        "live": True,
        "seen_at": None,
        "next_deadline": deadline,
        "data": dumps(data),
        "checkpoint": None,
        "checkpoint_at": None,
        "tail": None,
        "weather": None,
        "spreading_at": None,
        "left_at": None,
        "revision": revision,
    }


def set_deadlines(
    work: Work,
    deadlines: dict[AtSubject, str | None],
    read: dict[AtSubject, str | None] | None = None,
) -> None:
    """Write when some subjects must be looked at again.

    Args:
        read: the deadlines as they were read; one that another transaction has changed since then
            stays, so that nothing that was made due is lost.
    """
    for (kind, subject), deadline in deadlines.items():
        statement = Subject.__table__.update().where(  # type: ignore[attr-defined]
            Subject.site_id == work.site_id, Subject.kind == kind, Subject.id == subject
        )
        if read is not None:
            statement = statement.where(Subject.next_deadline == read[(kind, subject)])
        work.connection.execute(statement.values(next_deadline=deadline))


def taken_from(found: dict[str, Row], before: dict[str, Row]) -> set[str]:
    """Return the places that lots were taken out of, as they are and as they were kept."""
    rows = [shot["lot"] for shot in found.values() if shot["lot"]]
    rows += [json.loads(row["data"]) for row in before.values() if row["left_at"]]
    return {left["place"] for row in rows for left in row.get("left") or []}


def watch_dipped_again(work: Work, rows: dict[AtSubject, Data], done: set[str]) -> None:
    """Make the other lots that a changed bucket was used on due now: it may have been too old."""
    buckets = [row for (kind, _), row in rows.items() if kind == "solution"]
    dipped = {lot for row in buckets for lot in row["used_for"]}
    if dipped - done:
        work.connection.execute(
            Subject.__table__.update()  # type: ignore[attr-defined]
            .where(Subject.site_id == work.site_id, Subject.kind == "lot", Subject.live)
            .where(Subject.id.in_(dipped - done))
            .values(next_deadline=work.now)
        )


def watch_covered_again(work: Work, watcher: Watcher, rows: dict[AtSubject, Data]) -> None:
    """Make the other places due now: whether what is covered comes off depends on the night to
    come, and the nursery's forecasts have changed."""
    others = [place for place in watcher.places if ("place", place) not in rows]
    work.connection.execute(
        Subject.__table__.update()  # type: ignore[attr-defined]
        .where(Subject.site_id == work.site_id, Subject.kind == "place")
        .where(Subject.id.in_(others))
        .values(next_deadline=work.now)
    )


def watch_beside_again(
    work: Work, before: dict[str, Row], found: dict[str, Row], treated: set[str]
) -> None:
    """Make the lots of a place due now where mould has begun or ceased to spread beside them, or
    where the whole place was treated; the clock takes them page by page."""
    places = set(treated)
    for lot, shot in found.items():
        row, now = before.get(lot) or {}, shot["lot"]
        was = (row.get("place_id"), row.get("spreading_at"))
        after = (now["place"], spreading_since(now)) if now else (None, None)
        if was != after:
            places |= {place for place, since in (was, after) if place and since}
    if places:
        work.connection.execute(
            Subject.__table__.update()  # type: ignore[attr-defined]
            .where(Subject.site_id == work.site_id, Subject.kind == "lot", Subject.live)
            .where(Subject.place_id.in_(places))
            .values(next_deadline=work.now)
        )


def watch_all_again(work: Work) -> None:
    """Make every watched subject due now; the clock takes them page by page."""
    work.connection.execute(
        Subject.__table__.update()  # type: ignore[attr-defined]
        .where(Subject.site_id == work.site_id, Subject.kind.in_(WATCHED))
        .values(next_deadline=work.now)
    )
