"""Fields of events, each with a refusal in one plain sentence that says what would be right."""

import math
import re
from collections.abc import Mapping
from datetime import date
from typing import Any

from marshmallow import ValidationError, fields

from lathhouse.domain.instants import BadInstant, parse_instant

TEXT_MAX = 4000
NAME = re.compile(r"[^\x00-\x1f\x7f\ud800-\udfff]{1,200}")
DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
CLOCK = re.compile(r"([01]\d|2[0-3]):[0-5]\d", re.ASCII)
EMAIL = re.compile(r"[\w.!#$%&'*+/=?^`{|}~-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+", re.ASCII)
UUID = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
# Counts beyond this are slips of the finger, not seeds.
WHOLE_MAX = 1_000_000_000


class Plain(fields.Field[Any]):
    """A field that is checked and handed on as it came."""

    says = "must be something else"

    def fits(self, value: Any) -> bool:
        """Say whether the value can be right."""
        raise TypeError("every field says what fits")

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **_: Any
    ) -> Any:
        if not self.fits(value):
            raise ValidationError(f"{self.says}, not {shown(value)}")
        return value


def shown(value: Any) -> str:
    """Return a short spelling of a refused value."""
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else f"{text[:37]}…"


def is_number(value: Any) -> bool:
    """Say whether a value is a finite number (true and false are none)."""
    return (
        isinstance(value, int | float)
        and not isinstance(value, bool)
        and (isinstance(value, int) or math.isfinite(value))
    )


class Whole(Plain):
    """A whole number, not negative unless it says so."""

    def __init__(self, low: int = 0, high: int = WHOLE_MAX, **more: Any) -> None:
        super().__init__(**more)
        self.low, self.high = low, high
        between = "not negative" if high == WHOLE_MAX and low == 0 else f"from {low} to {high}"
        self.says = f"must be a whole number, {between}"

    def fits(self, value: Any) -> bool:
        """Say whether it is whole and within its bounds."""
        return is_number(value) and value == int(value) and self.low <= value <= self.high


class Number(Plain):
    """A measured number within bounds."""

    def __init__(self, low: float, high: float, unit: str = "", **more: Any) -> None:
        super().__init__(**more)
        self.low, self.high = low, high
        self.says = f"must be a number from {low:g} to {high:g}{' ' + unit if unit else ''}"

    def fits(self, value: Any) -> bool:
        """Say whether it is a finite number within its bounds."""
        return is_number(value) and self.low <= value <= self.high


class OneOf(Plain):
    """One of a few words."""

    def __init__(self, *words: str, **more: Any) -> None:
        super().__init__(**more)
        self.words = words
        self.says = f"must be one of {', '.join(words)}"

    def fits(self, value: Any) -> bool:
        """Say whether it is one of the words."""
        return isinstance(value, str) and value in self.words


class Words(Plain):
    """Free text, up to a few pages."""

    says = f"must be text of at most {TEXT_MAX} characters"

    def fits(self, value: Any) -> bool:
        """Say whether it is text, not too long."""
        return isinstance(value, str) and len(value) <= TEXT_MAX


class Name(Plain):
    """A short name or identifier on one line."""

    says = "must be a name of 1 to 200 characters on one line"

    def fits(self, value: Any) -> bool:
        """Say whether it is short text without control characters."""
        return isinstance(value, str) and NAME.fullmatch(value) is not None


class Code(Name):
    """A short name, or a whole number that serves as one (flat 3, growth stage 61)."""

    says = "must be a short name or a whole number"

    def fits(self, value: Any) -> bool:
        """Say whether it is either."""
        return Whole().fits(value) or super().fits(value)


class Digest(Plain):
    """A SHA-256 in hexadecimal digits."""

    says = "must be a SHA-256 of 64 hexadecimal digits"

    def fits(self, value: Any) -> bool:
        """Say whether it can be one."""
        return isinstance(value, str) and re.fullmatch("[0-9a-fA-F]{64}", value) is not None


class Uuid(Plain):
    """A UUID in its usual spelling (RFC 9562 section 4)."""

    says = "must be a UUID such as 0192f0c1-7b1a-7c3e-9d52-3f1c2a4b5d6e"

    def fits(self, value: Any) -> bool:
        """Say whether it is a UUID."""
        return isinstance(value, str) and UUID.fullmatch(value) is not None


class Instant(Plain):
    """An RFC 3339 time with its offset."""

    says = "must be a time with its UTC offset such as 2026-05-01T08:00:00+10:00"

    def fits(self, value: Any) -> bool:
        """Say whether it can be read as RFC 3339 says."""
        try:
            parse_instant(value)
        except BadInstant:
            return False
        return True


class Day(Plain):
    """A local date."""

    says = "must be a date such as 2026-05-01"

    def fits(self, value: Any) -> bool:
        """Say whether there is such a day."""
        try:
            return isinstance(value, str) and bool(
                DAY.fullmatch(value) and date.fromisoformat(value)
            )
        except ValueError:
            return False


class Until(Instant):
    """A local date, or a time with its offset."""

    says = "must be a date such as 2026-05-01, or a time with its UTC offset"

    def fits(self, value: Any) -> bool:
        """Say whether it is either."""
        return Day().fits(value) or super().fits(value)


class ClockTime(Plain):
    """A time of day on the site's own clocks."""

    says = "must be a time of day such as 07:00"

    def fits(self, value: Any) -> bool:
        """Say whether a clock shows it."""
        return isinstance(value, str) and CLOCK.fullmatch(value) is not None


class Email(Plain):
    """An e-mail address as most people have one (a subset of RFC 5321 section 4.1.2)."""

    says = "must be an e-mail address such as orla@example.com"

    def fits(self, value: Any) -> bool:
        """Say whether a message can be sent to it, and nothing else be slipped in with it."""
        return isinstance(value, str) and len(value) <= 254 and EMAIL.fullmatch(value) is not None


class Reach(Plain):
    """Which ways a person wants to be told by."""

    says = "must say push and mail, each true or false"

    def fits(self, value: Any) -> bool:
        """Say whether it names ways, each on or off."""
        return isinstance(value, dict) and all(isinstance(on, bool) for on in value.values())


class Flag(Plain):
    """True or false."""

    says = "must be true or false"

    def fits(self, value: Any) -> bool:
        """Say whether it is one of the two."""
        return isinstance(value, bool)


class Money(Plain):
    """An amount of money as decimal text, so that no cent drifts."""

    says = 'must be an amount as text such as "14.00"'

    def fits(self, value: Any) -> bool:
        """Say whether it is decimal text, not negative."""
        return isinstance(value, str) and re.fullmatch(r"\d{1,12}(\.\d{1,4})?", value) is not None


class Many(Plain):
    """A list of at most a thousand things of one shape."""

    def __init__(self, of: Plain, **more: Any) -> None:
        super().__init__(**more)
        self.of = of
        self.says = f"must be a list, each of which {of.says}"

    def fits(self, value: Any) -> bool:
        """Say whether each of them fits."""
        return isinstance(value, list) and len(value) <= 1000 and all(map(self.of.fits, value))


class Fields(Plain):
    """An object of named fields."""

    says = "must be an object with named fields"

    def fits(self, value: Any) -> bool:
        """Say whether it is an object."""
        return isinstance(value, dict)


class Anything(Plain):
    """Whatever it is."""

    says = "may be anything"

    def fits(self, value: Any) -> bool:
        """Say yes."""
        return True
