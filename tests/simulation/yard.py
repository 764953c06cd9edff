"""What is on record of weather and covers, and what frost and heat then truly ask.

In plain arithmetic from the catalogue, as `needs.py` is, and read from nothing of the program. The
figures: forecast of 3 °C, reading of 2 °C and until above 3 °C, 14:00, 09:00 and the three hours
that a reading speaks for (ours); cover off at 15.6 °C (Penn State Extension 2020) until it is below
14.6 °C (ours); forecast high of 32 °C (ours); heat index of 91 °F (US OSHA, Using the Heat Index)
until below 89 °F (ours).
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from tests.simulation.calendar import HOUR_MS, Calendar
from tests.simulation.episodes import Span, minus, union
from tests.simulation.ledger import Cover, Lot
from tests.simulation.needs import FOREVER
from tests.simulation.readings import Run, go_on, speaks
from tests.simulation.tenderness import is_small, is_tender
from tests.simulation.weather import heat_index_f, sunrise

FROST_LOW_C, COLD_C, MILD_C, WARM_C, COOL_C, HOT_HIGH_C = 3.0, 2.0, 3.0, 15.6, 14.6, 32.0
COLDER_BY_C = 2.0
HOT_F, REST_F = 91, 89
LISTED, UNCOVERED, DUSK = "14:00", "09:00", "18:00"
# A cover that is put on from nine in the morning on is for the night to come.
TO_MORNING_MS = 15 * HOUR_MS


@dataclass
class Yard:
    """Forecasts by day, runs of readings and covers by place, as people and probes said them."""

    calendar: Calendar
    sheltered: frozenset[str]
    houses: frozenset[str]
    lows: dict[int, float] = field(default_factory=dict)
    highs: dict[int, float] = field(default_factory=dict)
    covers: dict[str, Cover] = field(default_factory=dict)
    bared_at: dict[str, int] = field(default_factory=dict)
    cold: dict[str, Run] = field(default_factory=dict)
    warm: dict[str, Run] = field(default_factory=dict)
    hot: dict[str, Run] = field(default_factory=dict)

    def felt(self, place: str, temp_c: float, at: int) -> None:
        """Note a reading of the air."""
        go_on(self.cold, place, at, temp_c <= MILD_C, temp_c <= COLD_C)
        go_on(self.warm, place, at, temp_c >= COOL_C, temp_c >= WARM_C)

    def felt_hot(self, place: str, temp_c: float, at: int) -> None:
        """Note how hot air and damp together feel."""
        index_f = heat_index_f(temp_c)
        go_on(self.hot, place, at, index_f >= REST_F, index_f >= HOT_F)

    def over(self, lot: Lot) -> Cover | None:
        """Return the cover over a lot: its own, or what its place was given since it came."""
        own, laid = lot.cover, self.covers.get(lot.place)
        found = [own] if own and own.at >= self.bared_at.get(lot.place, 0) else []
        found += [laid] if laid and laid.at >= lot.bared_at else []
        return max(found, key=lambda cover: cover.at, default=None)

    def tender_at(self, lots: Iterable[Lot], at: int) -> list[Lot]:
        """Return the lots that frost can get at and hurt."""
        return [lot for lot in lots if lot.place not in self.sheltered and is_tender(lot, at)]

    def bare(self, lots: Iterable[Lot], at: int, low_c: float | None = None) -> list[Lot]:
        """Return tender lots without a cover, or under one that is for a milder night than this."""
        return [lot for lot in self.tender_at(lots, at) if not self._holds(lot, low_c)]

    def _holds(self, lot: Lot, low_c: float | None) -> bool:
        cover = self.over(lot)
        if cover is None or low_c is None or cover.for_low_c is None:
            return cover is not None
        return low_c >= cover.for_low_c - COLDER_BY_C

    def frost_tonight(self, lots: list[Lot], now: int) -> Span | None:
        """Return from when until when tender stock lies bare on a night that is forecast cold.

        From 14:00 until the sun rises.
        """
        at, today = self.calendar.at, self.calendar.day_of(now)
        for day in (today - 1, today):
            low_c = self.lows.get(day)
            span = (at(day, LISTED), sunrise(self.calendar, day + 1))
            cold = low_c is not None and low_c <= FROST_LOW_C and span[1] > now
            if cold and self.bare(lots, at(day, DUSK), low_c):
                return span
        return None

    def frost_now(self, place: str, lots: list[Lot]) -> Span | None:
        """Return from when until when tender stock lies bare in the cold that was read there."""
        span = speaks(self.cold.get(place))
        if span is None:
            return None
        read_at = self.cold[place].at
        asked = [lot for lot in lots if not self._uncovered_since(lot, read_at)]
        return span if self.bare(asked, read_at) else None

    def _uncovered_since(self, lot: Lot, read_at: int) -> bool:
        """Say whether somebody bared a lot after a reading, in the morning, when it warms up."""
        bared = max(lot.bared_at, self.bared_at.get(lot.place, 0))
        day = self.calendar.day_of(bared)
        morning = sunrise(self.calendar, day) + HOUR_MS, self.calendar.at(day, LISTED)
        return bared > read_at and morning[0] <= bared < morning[1]

    def heat_people(self, place: str) -> Span | None:
        """Return from when until when the air there is dangerous for people."""
        return speaks(self.hot.get(place))

    def cover_left_on(self, place: str, lots: list[Lot], now: int) -> Span | None:
        """Return when covers of a place should be off: from nine on the morning after their night.

        Not before the day until which they were said to stay, but where it grows warm beside them;
        and not from 14:00 of a day whose night is one of frost until the morning after.
        """
        over = [cover for cover in map(self.over, lots) if cover]
        laid = self.covers.get(place)
        covers = over or ([laid] if laid else [])
        if not covers:
            return None
        at, day_of = self.calendar.at, self.calendar.day_of
        nights = [day_of(cover.at + TO_MORNING_MS) for cover in covers]
        first = min(nights)
        off = min(max(day, one.until_day or 0) for day, one in zip(nights, covers, strict=True))
        frosts = [day for day, low_c in self.lows.items() if first <= day and low_c <= FROST_LOW_C]
        asked = minus(
            [(at(off, UNCOVERED), FOREVER)],
            [(at(day, LISTED), at(day + 1, UNCOVERED)) for day in frosts],
        )
        warm = self.warm.get(place)
        if warm and warm.extreme_at is not None:
            morning = sunrise(self.calendar, first) + HOUR_MS
            spans = minus(
                [(max(warm.extreme_at, morning), FOREVER)],
                [(at(day, LISTED), sunrise(self.calendar, day + 1) + HOUR_MS) for day in frosts],
            )
            # What was read the day before says nothing of this morning.
            asked += [span for span in spans if warm.at >= span[0]]
        return next((span for span in union(asked) if span[1] > now), None)

    def heat_plants(self, seen: dict[str, int], now: int) -> Span | None:
        """Return when tunnels and small pots want a look on a day that is forecast hot.

        From ten until noon where one was not seen that day, from three on where not since noon.
        """
        at, today = self.calendar.at, self.calendar.day_of(now)
        if self.highs.get(today, 0) < HOT_HIGH_C or not seen:
            return None
        oldest, noon = min(seen.values()), at(today, "12:00")
        asked = [(at(today, "00:00"), at(today, "10:00"), noon),
                 (noon, at(today, "15:00"), at(today + 1, "00:00"))]  # fmt: skip
        found = ((start, end) for since, start, end in asked if oldest < since and now < end)
        return next(found, None)

    def hot_places(self, lots: Iterable[Lot], closed_at: dict[str, int]) -> dict[str, int]:
        """Return when each tunnel with anything in it, and each place of small stock, was seen."""
        seen: dict[str, int] = {}
        for lot in lots:
            if lot.place in self.houses or is_small(lot):
                seen[lot.place] = min(seen.get(lot.place, FOREVER), lot.seen_at)
        return {place: max(at, closed_at.get(place, 0)) for place, at in seen.items()}
