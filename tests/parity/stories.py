"""What happens to a lot: for each watch a story in which it rings and, mostly, is answered."""

from collections.abc import Callable

from lathhouse.domain import protocols
from lathhouse.domain.instants import DAY_MS, HOUR_MS, MINUTE_MS, to_ms, to_text
from lathhouse.domain.lot import fold
from tests.parity.logs import BUCKET, CHILD, CROPS, LOT, Event, LogMaker

Story = Callable[[LogMaker], None]
FRIDGE_OR_OUT = ("fridge", "fridge", "indoors", "outdoors", None)


def six_weeks(log: LogMaker) -> None:
    """A chill that nobody looks at after its six weeks, then somebody does."""
    start = log.add("cold_started", {"where": log.random.choice(FRIDGE_OR_OUT)})
    for _ in range(log.random.randint(0, 2)):
        log.days(5, 12)
        log.look()
    log.days(20, 45)
    if log.chance(0.3):
        # The six weeks are over from this very millisecond.
        log.at = max(log.at, to_ms(start["at"]) + 42 * DAY_MS)
    log.random.choice([log.look, log.look, lambda: log.add("cold_ended")])()


def weekly_look(log: LogMaker) -> None:
    """A chill that is looked at every week, fortnight or third week."""
    log.add("cold_started", {"where": "fridge", "temp_c": 4, "medium": "vermiculite"})
    for _ in range(log.random.randint(1, 4)):
        log.days(*log.random.choice([(6, 8), (13, 15), (20, 23)]))
        log.look()


def sprouting(log: LogMaker) -> None:
    """Roots show in the bag, and some days later they are sown, or were miscounted."""
    log.add("cold_started", {"where": "fridge"})
    log.days(3, 9)
    log.look(sprouted_percent=log.random.choice([5, 10, 12, 40, 50]))
    log.days(0, 5)
    log.look(sprouted_percent=log.random.choice([2, 10, 60]))
    log.random.choice([log.look, lambda: log.add("cold_ended"), lambda: log.add("sown")])()


def never_looked(log: LogMaker) -> None:
    """A chill that nobody looks at for two or three weeks."""
    log.add("cold_started", {"where": "fridge"})
    log.days(13, 26)
    log.random.choice([log.look, log.look, lambda: log.add("cold_ended")])()


def too_warm(log: LogMaker) -> None:
    """A warm spell goes on past the longest that the crop's protocol has."""
    past_its_range(log, "warm", 40)


def too_cold(log: LogMaker) -> None:
    """A cold spell goes on past the longest that the crop's protocol has."""
    past_its_range(log, "cold", 40)


def past_its_range(log: LogMaker, kind: str, days_past: int) -> None:
    """Let a spell go on for up to so many days past its longest."""
    start = log.add(f"{kind}_started", {"where": log.random.choice(["fridge", "indoors", None])})
    longest = protocols.limits(kind, 1, log.protocol)["longest_days"] or 60
    if log.chance(0.5):
        log.days(longest - 3, longest - 1)
        log.look(sprouted_percent=0)
    log.at = to_ms(start["at"]) + int(longest * DAY_MS)
    log.days(0, days_past)
    log.add(log.random.choice([f"{kind}_ended", f"{kind}_ended", "sown", "looked"]))


def walked(log: LogMaker) -> None:
    """Pots of each size, flats and seedlings that wait for somebody to come by."""
    if log.chance(0.4):
        log.add("sown", {"flats": 2})
        log.days(0, 1)
    elif log.chance(0.7):
        log.add("potted_on", {"quantity": 90, "container_l": log.random.choice([2, 4, 6.9, 7, 10])})
    else:
        log.add("emergence_closed", {"why": "done"})
    for _ in range(log.random.randint(1, 3)):
        log.days(*log.random.choice([(1, 4), (3, 8), (7, 15), (14, 36)]))
        log.add(log.random.choice(["looked", "watered", "moved", "seed_cleaned"]), {"place": "p3"})


def mould(log: LogMaker) -> None:
    """Mould is seen, and some hours later it is looked at again."""
    log.add(log.random.choice(["cold_started", "sown", "noted"]), {"text": "x"})
    log.hours(1, 40)
    log.look(fungus=log.random.choice(["spots", "spreading"]))
    log.hours(*log.random.choice([(10, 30), (45, 75), (100, 125)]))
    log.look(fungus=log.random.choice(["none", "none", "spots", "spreading"]))


def dry(log: LogMaker) -> None:
    """It is dry once or twice, then it is watered, or found moist."""
    for _ in range(log.random.randint(1, 3)):
        log.look(moisture=log.random.choice([1, 1, 2]))
        log.hours(*log.random.choice([(0, 5), (11, 26), (40, 50)]))
    log.random.choice([lambda: log.add("watered"), lambda: log.look(moisture=3)])()


def wet(log: LogMaker) -> None:
    """A bag or a flat drips, then it is drained."""
    log.add(log.random.choice(["cold_started", "warm_started", "sown"]))
    for _ in range(log.random.randint(1, 3)):
        log.hours(2, 30)
        log.look(moisture=log.random.choice([4, 5, 5]))
    log.hours(1, 9)
    log.look(moisture=3)


def outdoors(log: LogMaker) -> None:
    """Flats under the shade net, whose moisture is read daily, or should be."""
    log.add("sown", {"flats": 3, "per_flat": 100})
    log.add("cold_started", {"where": "outdoors"})
    for _ in range(log.random.randint(1, 4)):
        log.hours(*log.random.choice([(20, 26), (44, 50), (70, 80)]))
        log.look(moisture=log.random.choice([None, 2, 3, 4]))


def bucket(log: LogMaker) -> None:
    """A bucket is mixed, today or days ago; another batch may have been through it."""
    mixed = log.at - log.random.choice([0, 1, 23, 24, 25, 60]) * HOUR_MS
    if log.chance(0.9):
        log.add("solution_mixed", {"solution": BUCKET, "ppm": 6000}, lot=None, at=to_text(mixed))
    if log.chance(0.3):
        before = to_text(log.at - log.random.choice([5, 9, 10, 11, 90]) * MINUTE_MS)
        log.add("sanitise_started", {"solution": BUCKET}, lot=CHILD, at=before)
    if log.chance(0.1):
        log.add("solution_discarded", {"solution": BUCKET}, lot=None)


def dip(log: LogMaker) -> None:
    """Seed lies in the bleach to its limit or past it, is rinsed, and waits for its next step."""
    limit = log.random.choice([8, 10, None])
    said = {"limit_minutes": limit, "percent_by_volume": 15}
    if log.chance(0.5):
        bucket(log)
        said |= {"solution": BUCKET}
    log.add("sanitise_started", said)
    log.at += log.random.choice([7, 8, 10, 11, 12, 13, 14, 16, 40]) * MINUTE_MS
    log.add("sanitise_ended")


def bench(log: LogMaker) -> None:
    """A soak with its water changed or not, a dip, and what follows, in time or not."""
    log.add("soak_started")
    for _ in range(log.random.randint(0, 2)):
        log.hours(8, 40)
        log.add(log.random.choice(["water_changed", "aerated", "soak_started"]))
    log.hours(*log.random.choice([(20, 26), (34, 50), (36, 48), (45, 120)]))
    if log.chance(0.2):
        log.add("scarified", {"method": log.random.choice(["acid", "nick"])})
    if log.chance(0.6):
        dip(log)
    else:
        log.add("soak_ended")
    log.hours(*log.random.choice([(0, 4), (4, 12), (11, 26)]))
    log.add(log.random.choice(["cold_started", "warm_started", "sown", "looked", "soak_started"]))


def window_of(log: LogMaker) -> dict[str, str] | None:
    """Return the emergence window of the log as it stands."""
    lot = fold(log.lot, log.events)
    return protocols.window(lot, log.protocol) if lot else None


def go_to(log: LogMaker, at: str) -> None:
    """Let time pass until an instant, if it is ahead."""
    log.at = max(log.at, to_ms(at))


def sow(log: LogMaker) -> dict[str, str]:
    """Sow, and return the window in which seedlings should show (one is made up without)."""
    if log.chance(0.8):
        log.add("cold_ended")
    log.add("sown", {"flats": 3, "per_flat": 100, "depth_mm": 4.5})
    later = {"opens_at": 7, "middle_at": 20, "closes_at": 40}
    made_up = {name: to_text(log.at + days * DAY_MS) for name, days in later.items()}
    return window_of(log) or made_up


def uncounted(log: LogMaker) -> None:
    """The window is open, and nobody counts for some days."""
    go_to(log, sow(log)["opens_at"])
    emerged = 0
    for _ in range(log.random.randint(1, 4)):
        log.days(*log.random.choice([(2, 4), (6, 8), (7, 10), (9, 11)]))
        emerged = max(0, emerged + log.random.choice([0, 4, 11, -2]))
        flat = {"flat": log.random.choice("ab")} if log.chance(0.3) else {}
        log.add("counted", {"emerged": emerged, "out_of": 100 if flat else 300, **flat})


def stalls(log: LogMaker) -> None:
    """Some come up early in the window, then no more for ten days or longer."""
    comes_up(log, sow(log)["opens_at"], log.random.choice([(9, 12), (13, 16)]))


def finishes(log: LogMaker) -> None:
    """All that will come up have, by a fortnight after the window's middle."""
    comes_up(log, sow(log)["middle_at"], (13, 18))


def comes_up(log: LogMaker, at: str, quiet_days: tuple[int, int]) -> None:
    """Let some come up, then no more, until a person settles it or more come."""
    go_to(log, at)
    log.add("counted", {"emerged": 12, "out_of": 300})
    log.days(*quiet_days)
    log.add("counted", {"emerged": 12, "out_of": 300})
    log.days(0, 3)
    ends: list[Story] = [
        lambda log: log.add("counted", {"emerged": 40, "out_of": 300}),
        lambda log: log.add("emergence_closed", {"why": "done"}),
        held_over,
    ]
    log.random.choice(ends)(log)


def held_over(log: LogMaker) -> None:
    """Wait for the second spring, with a date or without."""
    until = {"until": to_text(log.at + 90 * DAY_MS)} if log.chance(0.6) else {}
    log.add("held_over", {"why": "second spring", **until})


def nothing_comes(log: LogMaker) -> None:
    """The window closes and nothing has come up; it is held over, closed, or comes up late."""
    window = sow(log)
    if log.chance(0.4):
        go_to(log, window["opens_at"])
        log.add("counted", {"emerged": 0, "out_of": 300})
    go_to(log, window["closes_at"])
    log.days(0, 20)
    ends: list[Story] = [
        lambda log: log.add("emergence_closed", {"why": "dead"}),
        lambda log: log.add("counted", {"emerged": 3, "out_of": 300}),
        held_over,
    ]
    log.random.choice(ends)(log)


def two_springs(log: LogMaker) -> None:
    """Double dormancy outdoors: nothing in its first spring, and perhaps nothing in its second."""
    log.add("sown", {"flats": 3})
    log.add("cold_started", {"where": "outdoors"})
    log.days(100, 160)
    log.add("cold_ended")
    log.days(*log.random.choice([(150, 300), (600, 800)]))
    log.add("emergence_closed", {"why": "cut test: empty"})


def oversold(log: LogMaker) -> None:
    """More is potted on, sold or lost than is on record; a stock-take settles it a week later."""
    many = log.random.choice([104, 106, 120, 300, 1100])
    acts: list[tuple[str, dict[str, object]]] = [
        ("potted_on", {"quantity": many, "container_l": 2}),
        ("potted_on", {"quantity": many, "container_l": 2, "into": CHILD}),
        ("sold", {"quantity": many, "container_l": 4, "buyer": "Kew"}),
        ("lost", {"quantity": many, "out_of": many + 5, "cause": "frost"}),
    ]
    event = log.add(*log.random.choice(acts))
    log.days(0, 14)
    if log.chance(0.6):
        log.add("stocktaken", {"quantity": log.random.choice([0, 80]), "unit": "plants"})
    elif log.chance(0.7):
        log.add("amended", {"of": event["id"], "data": {"quantity": 4}})


def stands(log: LogMaker) -> None:
    """A flat or a pot that stays in its container for a year or two, until somebody decides."""
    container = log.random.choice([None, 2, 4, 10])
    if container is None:
        log.add("emergence_closed", {"why": "done"})
    else:
        log.add("potted_on", {"quantity": 90, "container_l": container})
    log.days(*log.random.choice([(1, 20), (364, 366), (394, 430), (538, 542), (568, 605)]))
    if log.chance(0.4):
        log.look(root_fill=5)
        log.days(*log.random.choice([(0, 5), (29, 32), (59, 62)]))
    ends: list[Story] = [
        lambda log: log.add("potted_on", {"quantity": 80, "container_l": 10}),
        lambda log: log.add("sold", {"quantity": 2000, "container_l": 4, "buyer": "a"}),
        lambda log: log.add("decided", {"watch": "overwintered", "why": "kept"}),
        lambda log: log.look(root_fill=4),
    ]
    log.random.choice(ends)(log)


def feed(log: LogMaker) -> None:
    """Pots whose water is tested every few weeks, or was once; inside the band or not."""
    log.add("potted_on", {"quantity": 90, "container_l": log.random.choice([2, 4])})
    for _ in range(log.random.randint(2, 4)):
        log.hours(1, 30)
        reading = log.random.choice([("ec_ms_cm", 0.2), ("ec_ms_cm", 3.4), ("ec_ms_cm", 1.5),
                                     ("ec_ms_cm", 3.4), ("ph", 7.5), ("ph", 7.5)])  # fmt: skip
        log.add("read", dict(zip(("quantity_kind", "value"), reading, strict=True)))
        log.days(*log.random.choice([(1, 9), (1, 9), (30, 32), (45, 47), (60, 62), (100, 200)]))
    inside = log.random.choice([("ec_ms_cm", 1.5), ("ec_ms_cm", 1.5), ("ph", 6)])
    log.add("read", dict(zip(("quantity_kind", "value"), inside, strict=True)))


def sprayed(log: LogMaker) -> None:
    """Pots are sprayed, and chosen for an order while they may not be sold, or a day later."""
    log.add("potted_on", {"quantity": 90, "container_l": 4})
    log.days(1, 9)
    spray = {"product": "soap", "ended_at": to_text(log.at), "rei_hours": 12, "places": ["p1"]}
    log.add("treated", {**spray, "sale_hold_days": log.random.choice([3, 7, 7, 0.5, None])})
    log.hours(0, 60)
    day = to_text(log.at + log.random.choice([1, 2, 5, 9]) * DAY_MS)[:10]
    order = {"quantity": 9, "container_l": 4, "buyer": "Kew", "deliver_on": day}
    event = log.add(log.random.choice(["sold", "sold", "promised", "promised"]), order)
    log.hours(*log.random.choice([(1, 20), (70, 90), (150, 200)]))
    if log.chance(0.5):
        log.add("voided", {"of": event["id"], "why": "another lot"})
    else:
        log.look()


def promised(log: LogMaker) -> None:
    """More is promised than will be there; it is told to the buyer, sold, or counted anew."""
    log.add("potted_on", {"quantity": 100, "container_l": 4})
    log.days(5, 200)
    if log.chance(0.5):
        log.add("graded", {"grade": "A", "quantity": 60, "out_of": 100})
    if log.chance(0.5):
        log.add("lost", {"quantity": 9, "out_of": 100, "cause": "frost"})
    day = to_text(log.at + log.random.choice([20, 60, 60, 120, 120, 150]) * DAY_MS)[:10]
    order = {"quantity": log.random.choice([50, 95, 120, 120]), "container_l": 4, "buyer": "Kew"}
    event = log.add(
        "promised", {**order, "deliver_on": day, "grade": log.random.choice(["A", None])}
    )
    log.days(*log.random.choice([(0, 3), (28, 33), (58, 63), (88, 93)]))
    ends: list[Story] = [
        lambda log: log.add("voided", {"of": event["id"], "why": "told the buyer"}),
        lambda log: log.add("sold", {"quantity": 90, "container_l": 4, "buyer": "Kew"}),
        lambda log: log.add("stocktaken", {"quantity": 400, "unit": "plants"}),
        lambda log: log.add("amended", {"of": event["id"], "data": {"quantity": 5}}),
    ]
    log.random.choice(ends)(log)


def split(log: LogMaker) -> None:
    """A part of the lot becomes a lot of its own, or is potted into one."""
    data = {"crop": log.crop, "label": "26-018-T", "quantity": 40, "unit": "seeds"}
    parents = {"parents": [LOT]} if log.chance(0.7) else {"parent": LOT}
    log.add("lot_started", {**data, **parents}, lot=CHILD)
    log.hours(1, 90)
    if log.chance(0.5):
        log.add("potted_on", {"quantity": 38, "container_l": 4, "into": CHILD})


def closing(log: LogMaker) -> None:
    """The end."""
    log.days(0, 5)
    log.add("lot_closed", {"why": "sold out"})


def not_over(log: LogMaker) -> None:
    """Counted after it was closed, by somebody who did not know; a person says which is right."""
    closed = log.events[-1]
    log.hours(0, 40)
    lost = {"quantity": 2, "out_of": 100, "cause": "heat"}
    acts = [("counted", {"emerged": 3, "out_of": 100}), ("looked", {}), ("lost", lost)]
    event = log.add(*log.random.choice(acts))
    log.hours(1, 90)
    which = log.random.choice(["closing", "record", "both", "again"])
    if which in ("closing", "record"):
        log.add("voided", {"of": (closed if which == "closing" else event)["id"]})
    elif which == "both":
        log.add("decided", {"watch": "after-closing", "why": "both are right"})
    elif which == "again":
        log.add("lot_closed", {"why": "looked again, nothing"})


STORIES: tuple[Story, ...] = (
    six_weeks, weekly_look, never_looked, sprouting, too_warm, too_cold, walked, mould, dry, wet,
    outdoors, dip, dip, bench, bench, bench, uncounted, uncounted, stalls, stalls, finishes,
    finishes, nothing_comes, nothing_comes, oversold, oversold, split, too_warm, stands, stands,
    stands, feed, feed, sprayed, sprayed, promised, promised,
    two_springs, two_springs,
)  # fmt: skip
DOUBLE = ("viburnum-opulus", "stewartia-koreana", "taxus-baccata")
NEEDS_SEEDS = (
    two_springs,
    sprouting,
    too_warm,
    too_cold,
    bench,
    uncounted,
    stalls,
    finishes,
    nothing_comes,
)
WARMED = tuple(
    crop for crop in CROPS if protocols.nth_step("warm", 1, protocols.load_crops().get(crop))
)


def make_log(seed: int, lot: str = LOT) -> tuple[list[Event], str]:
    """Return the log of one life, and the id of the event that ends the seed's own story.

    There may be other stories around it, and mostly it is disturbed.
    """
    log = LogMaker(seed, lot)
    story = STORIES[seed % len(STORIES)]
    log.crop = log.random.choice(WARMED) if story is too_warm else log.crop
    log.crop = log.random.choice(DOUBLE) if story is two_springs else log.crop
    log.begin(**({"unit": "seeds"} if story in NEEDS_SEEDS and log.chance(0.9) else {}))
    log.hours(1, 30)
    if log.chance(0.3):
        log.random.choice([six_weeks, weekly_look, bench])(log)
    story(log)
    end = log.events[-1]["id"]
    while log.chance(0.3):
        log.random.choice(STORIES)(log)
    if log.chance(0.12):
        closing(log)
        if log.chance(0.75):
            not_over(log)
    if log.chance(0.75):
        log.disturb()
    return log.events, end
