"""Quillstone Nursery, which does not exist: its places, people, thirty lots and last months."""

from typing import Any

from lathhouse.demo.story import ZONE, Story, name_id
from lathhouse.domain.labels import lot_code

Data = dict[str, Any]

PEOPLE: tuple[tuple[str, str, list[int]], ...] = (
    ("Orla", "owner", [1, 2, 3, 4, 5, 6]),
    ("Dev", "worker", [1, 2, 3, 4, 5, 6]),
    ("Mele", "worker", [2, 3, 5]),
    ("Jonas", "worker", []),
)
# name, kind, walked daily
PLACES = (
    ("Shed fridge", "chamber", True),
    ("Soak bench", "bench", True),
    ("Seed shelf", "shelf", False),
    ("Lath house, north bench", "outdoors", True),
    ("Lath house, south bench", "outdoors", True),
    ("Seedling tunnel", "house", True),
    ("Two-litre bay", "bed", False),
    ("Four-litre bed A", "bed", False),
    ("Four-litre bed B", "bed", False),
    ("Ten-litre stand", "bed", False),
    ("Frost corner", "bed", False),
    ("Isolation bench", "bench", False),
)
FRIDGE, BENCH, SHELF, NORTH, SOUTH, TUNNEL, TWO_L, BED_A, BED_B, TEN_L, CORNER, _ = (
    name for name, _, _ in PLACES
)
# story name: crop, year, running number
LOTS = {
    "AP-26-1": ("acer-palmatum", 26, 17), "AP-26-2": ("acer-palmatum", 26, 18),
    "CK-26-1": ("cornus-kousa", 26, 12), "SV-26-1": ("syringa-vulgaris", 26, 31),
    "SK-26-1": ("stewartia-koreana", 26, 9), "VO-26-1": ("viburnum-opulus", 26, 5),
    "HV-26-1": ("hamamelis-virginiana", 26, 22), "MV-26-1": ("magnolia-virginiana", 26, 24),
    "MV-26-2": ("magnolia-virginiana", 26, 33), "CC-26-1": ("cercis-canadensis", 26, 34),
    "CJ-26-1": ("camellia-japonica", 26, 35), "AU-26-1": ("arbutus-unedo", 26, 36),
    "VO-25-1": ("viburnum-opulus", 25, 6), "TB-25-1": ("taxus-baccata", 25, 4),
    "FO-25-1": ("fraxinus-ornus", 25, 11), "AP-25-1": ("acer-palmatum", 25, 19),
    "CK-25-1": ("cornus-kousa", 25, 21), "SV-25-1": ("syringa-vulgaris", 25, 23),
    "MV-25-1": ("magnolia-virginiana", 25, 27), "CC-25-1": ("cercis-canadensis", 25, 14),
    "HV-25-1": ("hamamelis-virginiana", 25, 3), "SK-24-1": ("stewartia-koreana", 24, 8),
    "CJ-24-1": ("camellia-japonica", 24, 10), "AU-24-1": ("arbutus-unedo", 24, 15),
    "AP-23-1": ("acer-palmatum", 23, 7), "CK-23-1": ("cornus-kousa", 23, 13),
    "VO-23-1": ("viburnum-opulus", 23, 16), "SV-23-1": ("syringa-vulgaris", 23, 20),
    "MV-22": ("magnolia-virginiana", 22, 1), "MV-22-1": ("magnolia-virginiana", 22, 2),
    "TB-22-1": ("taxus-baccata", 22, 5),
}  # fmt: skip
MOIST: Data = {"as_expected": True, "moisture": 3, "fungus": "none"}
NO_ROOTS: Data = {**MOIST, "sprouted_percent": 0}
WET: Data = {"moisture": 4, "fungus": "none"}
DENSE_DAYS = 120


def lot_id(name: str) -> str:
    """Return the id of a story's lot."""
    return name_id(f"lot {name}")


def place_id(name: str) -> str:
    """Return the id of a place."""
    return name_id(f"place {name}")


def code(name: str) -> str:
    """Return the code on a lot's label."""
    return lot_code(*LOTS[name][1:])


def scenario(now_ms: int, nursery_id: str) -> dict[str, list[Data]]:
    """Return {phone: events} that make the nursery as it is this morning.

    The phones are Orla's, the shed's (Dev and Jonas share it) and Mele's.
    """
    story = Story(now_ms)
    _the_place_itself(story, nursery_id)
    for tell in (_fridge, _shelf, _bench, _flats, _emerging, _tunnel, _pots, _old_stock):
        tell(story)
    _rounds(story)
    _weather(story, nursery_id)
    return story.by_phone()


def _the_place_itself(story: Story, nursery_id: str) -> None:
    row = {
        "id": nursery_id, "name": "Quillstone Nursery", "timezone": ZONE, "hemisphere": "south",
        "latitude_deg": -33.6, "longitude_deg": 149.7, "working_days": [1, 2, 3, 4, 5, 6],
        "units": "metric", "currency": "AUD",
    }  # fmt: skip
    first = {"by": "Orla", "phone": "orla"}
    story.tell(1420, "07:00", "nursery_changed", None, row, **first)
    for name, role, works in PEOPLE:
        person = {"id": name_id(name), "name": name, "role": role, "works": works}
        story.tell(1420, "07:05", "person_changed", None, person, **first)
    for order, (name, kind, daily) in enumerate(PLACES, 1):
        place: Data = {"id": place_id(name), "name": name, "order": order, "kind": kind}
        place["daily"] = daily
        if kind == "chamber":
            place["chamber"] = {"low_c": 1, "high_c": 5, "aim_c": 4, "by_hand": True}
        if name == CORNER:
            place["sensor_height_m"] = 0.8
        story.tell(1420, "07:10", "place_changed", None, place, **first)
        if kind == "chamber":
            # Read by hand twice a day until the probe came.
            probed = {**place["chamber"], "by_hand": False, "interval_minutes": 60}
            story.tell(5, "16:00", "place_changed", None, {**place, "chamber": probed}, **first)


def _start(story: Story, name: str, days_ago: int, place: str, quantity: int, **more: Any) -> str:
    lot = lot_id(name)
    data = {"crop": LOTS[name][0], "label": code(name), "quantity": quantity, "unit": "seeds"}
    data |= {"place": place_id(place), **more}
    story.tell(days_ago, "10:00", "lot_started", lot, data, by="Orla", phone="orla")
    return lot


def _chill(story: Story, name: str, days_ago: int, seeds: int, looks: dict[int, Data]) -> str:
    lot = _start(story, name, days_ago + 3, FRIDGE, seeds)
    story.tell(days_ago + 2, "07:20", "soak_started", lot, by="Jonas")
    story.tell(days_ago + 1, "07:30", "soak_ended", lot, by="Jonas")
    # Early: 44 days later at 08:40 it is day 44 even where the clocks went forward in between.
    story.tell(days_ago, "07:10", "cold_started", lot, {"where": "fridge", "temp_c": 4})
    for day, said in looks.items():
        story.tell(day, "08:20", "looked", lot, said)
    return lot


def _fridge(story: Story) -> None:
    seen = dict.fromkeys((37, 30, 21, 11), NO_ROOTS)
    _chill(story, "AP-26-1", 44, 1800, seen)
    same = _chill(story, "AP-26-2", 44, 900, dict.fromkeys((37, 30, 23, 16, 9, 1), NO_ROOTS))
    taken = {"watch": "cold-six-weeks"}
    story.tell(2, "16:00", "acknowledged", same, taken, by="Orla", phone="orla")
    roots = {**MOIST, "as_expected": False, "sprouted_percent": 12}
    few = {**MOIST, "as_expected": False, "sprouted_percent": 4}
    weekly = dict.fromkeys((54, 47, 40, 33, 26, 19, 14), NO_ROOTS)
    _chill(story, "CK-26-1", 61, 2400, {**weekly, 8: few, 2: roots})
    _chill(story, "SV-26-1", 8, 3000, {})
    witch = _chill(story, "HV-26-1", 27, 450, dict.fromkeys((20, 13, 7), NO_ROOTS))
    spots = {"moisture": 3, "fungus": "spots", "picked_out": 4, "note": "four seeds"}
    story.tell(3, "08:00", "looked", witch, spots)
    bay = _chill(story, "MV-26-1", 19, 800, dict.fromkeys((12, 5), NO_ROOTS))
    wrong = story.tell(4, "08:25", "looked", bay, {"moisture": 3, "fungus": "spots"})
    if wrong:
        undo = {"of": wrong["id"], "why": "that was the witch hazel"}
        story.tell(4, "08:26", "voided", bay, undo)


def _shelf(story: Story) -> None:
    for name, since, seeds in (("SK-26-1", 70, 700), ("VO-26-1", 95, 1200)):
        lot = _start(story, name, since + 2, SHELF, seeds)
        story.tell(since, "09:00", "warm_started", lot, {"where": "indoors", "temp_c": 20})
        for day in range(since - 7, 0, -7):
            story.tell(day, "08:35", "looked", lot, MOIST)
        story.tell(2, "08:36", "looked", lot, MOIST)


def _bench(story: Story) -> None:
    bucket = name_id("bench bucket")
    mixed = {
        "solution": bucket, "product_strength": 4.0, "product_unit": "percent_available_chlorine",
        "wanted": 15, "wanted_unit": "percent_by_volume", "volume_ml": 4000, "product_ml": 600,
        "water_ml": 3400, "method": "make_up_to", "ppm": 6000,
    }  # fmt: skip
    story.tell(
        1,
        "07:20",
        "noted",
        None,
        {"text": "Old bottle: no strength on its label. Not used."},
        by="Jonas",
    )
    story.tell(1, "07:30", "solution_mixed", None, mixed, by="Jonas")
    bay = _start(story, "MV-26-2", 2, BENCH, 600)
    story.tell(1, "07:00", "soak_started", bay, by="Jonas")
    story.tell(1, "15:30", "water_changed", bay, by="Jonas")
    redbud = _start(story, "CC-26-1", 2, BENCH, 1500)
    story.tell(1, "07:10", "soak_started", redbud, by="Jonas")
    camellia = _start(story, "CJ-26-1", 3, BENCH, 900)
    story.tell(2, "15:00", "soak_started", camellia, by="Jonas")
    dip = {"solution": bucket, "percent_by_volume": 15, "limit_minutes": 10}
    story.tell(1, "15:31", "sanitise_started", camellia, dip, by="Jonas")
    story.tell(1, "15:40", "sanitise_ended", camellia, by="Jonas")
    strawberry = _start(story, "AU-26-1", 2, BENCH, 350)
    story.tell(1, "15:50", "soak_started", strawberry, by="Jonas")
    story.tell(0, "07:30", "water_changed", strawberry, by="Jonas")


def _flats(story: Story) -> None:
    for name, months, seeds, flats in (("VO-25-1", 15, 4000, 40), ("TB-25-1", 16, 2500, 25),
                                       ("FO-25-1", 14, 960, 12)):  # fmt: skip
        begun = months * 30
        lot = _start(story, name, begun + 5, NORTH, seeds)
        sown = {"flats": flats, "per_flat": seeds // flats, "depth_mm": 5}
        story.tell(begun, "10:30", "sown", lot, sown)
        story.tell(begun, "10:40", "cold_started", lot, {"where": "outdoors"})
        for day in range(begun - 14, DENSE_DAYS, -14):
            story.tell(day, "09:20", "looked", lot, WET)
        spring = begun - 130
        story.tell(spring, "09:30", "cold_ended", lot)
        later = {"why": "wait for the second spring", "until": story.at(-60, "00:00")[:10]}
        story.tell(spring - 100, "09:40", "held_over", lot, later, by="Orla", phone="orla")
        story.tell(110, "09:30", "cold_started", lot, {"where": "outdoors"})
    ash = lot_id("FO-25-1")
    story.tell(
        1,
        "15:10",
        "looked",
        ash,
        {"moisture": 1, "note": "Mele's note, typed in by Dev"},
        by="Mele",
        typed=True,
        recorded_at=story.at(1, "16:40"),
    )


def _sown_lot(story: Story, name: str, sown: int, seeds: int, flats: int, place: str) -> str:
    lot = _start(story, name, sown + 95, place, seeds)
    story.tell(sown + 90, "08:10", "cold_started", lot, {"where": "fridge", "temp_c": 4})
    for day in range(sown + 83, sown, -7):
        story.tell(day, "08:15", "looked", lot, NO_ROOTS)
    data = {"flats": flats, "per_flat": seeds // flats, "depth_mm": 4, "spacing_mm": 15}
    story.tell(sown, "10:15", "sown", lot, data)
    return lot


def _emerging(story: Story) -> None:
    counts: dict[str, tuple[int, int, int, str, dict[int, int]]] = {
        "AP-25-1": (31, 3600, 30, SOUTH, {16: 110, 11: 420, 6: 900, 2: 1130}),
        "CK-25-1": (40, 1800, 18, SOUTH, {25: 60, 14: 180, 2: 180}),
        "SV-25-1": (52, 2000, 10, SOUTH, {40: 700, 30: 1410, 23: 1466, 2: 1466}),
        "MV-25-1": (41, 480, 8, TUNNEL, {}),
    }
    for name, (sown, seeds, flats, place, counted) in counts.items():
        lot = _sown_lot(story, name, sown, seeds, flats, place)
        for day, emerged in counted.items():
            event = story.tell(day, "09:50", "counted", lot, {"emerged": emerged, "out_of": seeds})
            if event and emerged == 1130:
                right = {"of": event["id"], "data": {"emerged": 1310}}
                story.tell(day, "10:05", "amended", lot, right)


def _tunnel(story: Story) -> None:
    redbud = _start(story, "CC-25-1", 330, TUNNEL, 655, unit="seedlings")
    gone = {"quantity": 45, "out_of": 655, "cause": "damping_off"}
    story.tell(30, "09:10", "lost", redbud, gone)
    witch = _start(story, "HV-25-1", 420, TUNNEL, 190, unit="seedlings")
    story.tell(10, "09:15", "looked", witch, {**MOIST, "as_expected": False, "root_fill": 5})


def _pots(story: Story) -> None:
    plants = {"unit": "plants"}
    shrub = _start(story, "SK-24-1", 270, TWO_L, 252, container_l=2, **plants)
    story.tell(60, "09:00", "lost", shrub, {"quantity": 12, "out_of": 252, "cause": "frost"})
    story.tell(12, "09:00", "noted", shrub, {"text": "Pour-through of 5 pots, their mean"})
    for kind, value in (("ph", 5.9), ("ec_ms_cm", 0.8)):
        story.tell(12, "09:01", "read", shrub, {"quantity_kind": kind, "value": value})
    camellia = _start(story, "CJ-24-1", 240, CORNER, 380, container_l=2, **plants)
    strawberry = _start(story, "AU-24-1", 300, CORNER, 420, container_l=2, **plants)
    for lot in (camellia, strawberry):
        story.tell(6, "17:05", "covered", lot, by="Mele", phone="mele")
        story.tell(5, "08:55", "uncovered", lot)
        story.tell(2, "16:40", "covered", lot)
    story.tell(1, "08:50", "uncovered", camellia)
    story.tell(1, "08:52", "uncovered", strawberry)
    story.tell(1, "16:45", "covered", strawberry)
    maple = _start(story, "AP-23-1", 390, BED_A, 390, container_l=4, **plants)
    sale = {"quantity": 80, "container_l": 4, "price_each": "14.00", "currency": "AUD"}
    story.tell(
        90,
        "11:00",
        "sold",
        maple,
        {**sale, "buyer": "a landscaper in the next town"},
        by="Orla",
        phone="orla",
    )
    story.tell(25, "09:40", "graded", maple, {"grade": "A", "quantity": 141, "out_of": 310})
    story.tell(25, "09:41", "graded", maple, {"grade": "B", "quantity": 169, "out_of": 310})
    promise = {"quantity": 150, "container_l": 4, "buyer": "a nursery down the range", "grade": "A"}
    story.tell(
        20,
        "11:30",
        "promised",
        maple,
        {**promise, "deliver_on": story.at(-60, "00:00")[:10]},
        by="Orla",
        phone="orla",
    )
    dogwood = _start(story, "CK-23-1", 480, BED_A, 205, container_l=4, **plants)
    story.tell(15, "09:40", "graded", dogwood, {"grade": "A", "quantity": 150, "out_of": 205})
    story.tell(15, "09:41", "graded", dogwood, {"grade": "B", "quantity": 55, "out_of": 205})
    story.tell(
        9, "09:45", "looked", dogwood, {"moisture": 3, "fungus": "none", "surface_growth": 2}
    )
    guelder = _start(story, "VO-23-1", 330, BED_B, 260, container_l=4, **plants)
    spray = {
        "product": "soap spray", "reason": "aphids", "rate_value": 20, "rate_unit": "mL/L",
        "operator": "Orla", "started_at": story.at(1, "16:00"), "ended_at": story.at(1, "16:30"),
        "rei_hours": 12, "sale_hold_days": 7, "label_seen": True, "places": [place_id(BED_B)],
    }  # fmt: skip
    story.tell(1, "16:35", "treated", guelder, spray, by="Orla", phone="orla")
    lilac = _start(story, "SV-23-1", 700, BED_B, 330, container_l=2, **plants)
    story.tell(365, "10:00", "potted_on", lilac, {"quantity": 342, "container_l": 4})
    yew = _start(story, "TB-22-1", 270, TEN_L, 100, container_l=10, **plants)
    sale = {"quantity": 26, "container_l": 10, "price_each": "46.00", "currency": "AUD"}
    story.tell(
        150,
        "11:00",
        "sold",
        yew,
        {**sale, "buyer": "a landscaper in the next town"},
        by="Orla",
        phone="orla",
    )


def _old_stock(story: Story) -> None:
    """The 2022 magnolias: 900 seeds, 412 up, 301 to 2 L, 248 to 4 L, 104 to 10 L, 96 standing."""
    seed = _start(story, "MV-22", 1400, NORTH, 900)
    story.tell(1390, "09:00", "cold_started", seed, {"where": "fridge", "temp_c": 4})
    story.tell(1330, "09:00", "sown", seed, {"flats": 15, "per_flat": 60})
    story.tell(1270, "09:00", "counted", seed, {"emerged": 412, "out_of": 900})
    story.tell(1265, "09:00", "emergence_closed", seed, {"why": "no more to come"})
    pots = lot_id("MV-22-1")
    young = {"crop": LOTS["MV-22"][0], "label": code("MV-22-1"), "quantity": 301, "unit": "plants"}
    young |= {"place": place_id(TWO_L), "container_l": 2, "parents": [seed]}
    story.tell(1000, "09:00", "lot_started", pots, young, by="Orla", phone="orla")
    story.tell(1000, "09:01", "potted_on", seed, {"quantity": 301, "container_l": 2, "into": pots})
    story.tell(995, "09:00", "lost", seed, {"quantity": 111, "out_of": 111, "cause": "culled"})
    story.tell(990, "09:00", "lot_closed", seed, {"why": "all potted"})
    story.tell(800, "09:00", "lost", pots, {"quantity": 53, "out_of": 301, "cause": "root_rot"})
    story.tell(700, "09:00", "potted_on", pots, {"quantity": 248, "container_l": 4})
    sale = {"quantity": 130, "container_l": 4, "price_each": "13.00", "currency": "AUD"}
    story.tell(
        420,
        "11:00",
        "sold",
        pots,
        {**sale, "buyer": "a nursery down the range"},
        by="Orla",
        phone="orla",
    )
    story.tell(300, "09:00", "lost", pots, {"quantity": 14, "out_of": 118, "cause": "wind"})
    story.tell(210, "09:00", "potted_on", pots, {"quantity": 104, "container_l": 10})
    story.tell(100, "09:00", "lost", pots, {"quantity": 8, "out_of": 104, "cause": "culled"})
    story.tell(210, "09:10", "moved", pots, {"place": place_id(TEN_L)})


def _rounds(story: Story) -> None:
    """The daily looks of the last months, and the rounds closed; Sundays are free."""
    daily = {"VO-25-1": (450, WET), "TB-25-1": (480, WET), "FO-25-1": (420, WET),
             "AP-25-1": (31, MOIST), "CK-25-1": (40, MOIST), "SV-25-1": (52, MOIST)}  # fmt: skip
    tunnel = {"MV-25-1": (41, MOIST), "CC-25-1": (330, MOIST), "HV-25-1": (420, MOIST)}
    weekly = ("SK-24-1", "CJ-24-1", "AU-24-1", "AP-23-1", "CK-23-1", "VO-23-1", "SV-23-1",
              "MV-22-1", "TB-22-1")  # fmt: skip
    for day in range(DENSE_DAYS, 0, -1):
        if not story.is_working_day(day):
            continue
        minute = 0
        walked = daily if day == 1 else {**daily, **tunnel}
        for name, (since, said) in walked.items():
            if day < since and not (day == 1 and name == "FO-25-1"):
                story.tell(day, f"09:{20 + minute:02d}", "looked", lot_id(name), said)
                minute += 2
        for number, name in enumerate(weekly):
            if day % 6 == number % 6 and day < 240:
                said = {"as_expected": True, "moisture": 3, "health": 5}
                who = {"by": "Mele", "phone": "mele"} if day > 1 else {}
                story.tell(day, f"11:{10 + number:02d}", "looked", lot_id(name), said, **who)
        for name, _, walked_daily in PLACES:
            if walked_daily and not (name == TUNNEL and day == 1):
                closed = {"place": place_id(name), "skipped": []}
                story.tell(day, "09:50", "round_closed", None, closed)


def _weather(story: Story, nursery_id: str) -> None:
    corner, fridge = place_id(CORNER), place_id(FRIDGE)
    for day in range(DENSE_DAYS, -1, -1):
        low = {"quantity_kind": "temp_min_c", "place": corner}
        value = -1.4 if day == 6 else round(3.1 + (day * 7 % 11 - 5) * 0.4 * (day > 0), 1)
        story.tell(day, "07:10", "read", None, {**low, "value": value})
        for clock in ("07:15", "15:45"):
            warm = round(3.8 + (day * 5 % 7 - 3) * 0.1, 1)
            told = {"quantity_kind": "temp_c", "place": fridge, "value": warm}
            story.tell(day, clock, "read", None, told)
    for day in range(4, -1, -1):
        for hour in range(24):
            ajar = {1: 6.4, 2: 7.3}.get(hour) if day == 0 else None
            value = ajar if ajar is not None else round(3.7 + (hour * 3 % 7) * 0.1, 1)
            told = {"quantity_kind": "temp_c", "place": fridge, "value": value}
            told["by_sensor"] = "fridge probe"
            story.tell(day, f"{hour:02d}:20", "read", None, told, by="", phone="probe")
    story.tell(0, "02:50", "read", None, {"quantity_kind": "temp_c", "place": fridge, "value": 4.3,
               "by_sensor": "fridge probe"}, by="", phone="probe")  # fmt: skip
    _corner_probe(story, corner)
    tonight = {"quantity_kind": "forecast_low_c", "value": 2.0, "nursery": nursery_id}
    tonight["for_night_of"] = story.at(0, "00:00")[:10]
    story.tell(1, "17:30", "read", None, tonight, by="Orla", phone="orla")


def _corner_probe(story: Story, corner: str) -> None:
    """The probe at bench height in the frost corner: the last two days, every half hour."""
    for day in (1, 0):
        for half in range(48):
            hour = half / 2
            # Coldest at six, warmest at fifteen: 3.2 to 11.2 °C.
            rise = max(0.0, 1 - abs(hour - 15) / 9)
            temp = round(3.2 + 8 * rise, 1)
            damp = round(95 - 40 * rise)
            clock = f"{half // 2:02d}:{half % 2 * 30:02d}"
            for kind, value in (("temp_c", temp), ("humidity_percent", damp)):
                told = {"place": corner, "quantity_kind": kind, "value": value}
                told["by_sensor"] = "corner probe"
                story.tell(day, clock, "read", None, told, by="", phone="probe")
