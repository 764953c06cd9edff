"""What a measurement says, and the middle of several tries."""

import statistics
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass
class Figure:
    """One measured figure with its aim: at most (or at least) so much."""

    name: str
    value: float
    unit: str
    aim: float | None = None
    at_least: bool = False
    note: str = ""

    @property
    def met(self) -> bool:
        """Whether the aim is met; a figure without an aim only informs."""
        if self.aim is None:
            return True
        return self.value >= self.aim if self.at_least else self.value <= self.aim

    def line(self) -> str:
        """Return the figure as one line."""
        aim = ""
        if self.aim is not None:
            than = "at least" if self.at_least else "at most"
            aim = f"  (aim: {than} {self.aim:g}{'' if self.met else ' MISSED'})"
        note = f"  {self.note}" if self.note else ""
        return f"{self.name:52} {self.value:10.3f} {self.unit}{aim}{note}"


def spread(values: Sequence[float]) -> str:
    """Return least and most of several tries."""
    return f"from {min(values):.3f} to {max(values):.3f} in {len(values)} tries"


def middle(values: Sequence[float]) -> float:
    """Return the median of several tries."""
    return statistics.median(values)
