"""Run the measurements that are named, or all of them, and print one line for each figure."""

import sys
from collections.abc import Callable

from tests.bench import first_load, outlook, phone_record, push, tick
from tests.bench.figures import Figure

SMALL = "--small"
# Sizes at which the figures mean nothing, to see that each measurement runs.
SIZES: dict[str, dict[str, int]] = {
    "record": {"tries": 1, "each": 2},
    "push": {"count": 40, "batch": 20, "lots": 4, "few": 2, "tries": 1},
    "tick": {"asleep": 20, "due": 2, "tries": 1},
    "outlook": {"lots": 4, "each": 3, "tries": 1},
    "load": {"lots": 12, "tries": 1},
}
MEASUREMENTS: dict[str, Callable[..., list[Figure]]] = {
    "record": phone_record.measure,
    "push": push.measure,
    "tick": tick.measure,
    "outlook": outlook.measure,
    "load": first_load.measure,
}


def main(words: list[str]) -> int:
    """Run them; return how many aims were missed (none are asked for with `--small`)."""
    small = SMALL in words
    names = [word for word in words if word != SMALL]
    unknown = sorted(set(names) - set(MEASUREMENTS))
    if unknown:
        print(f"no such measurement: {', '.join(unknown)}; there are {', '.join(MEASUREMENTS)}")
        return 2
    missed = 0
    for name in names or MEASUREMENTS:
        for figure in MEASUREMENTS[name](**SIZES[name] if small else {}):
            print(figure.line(), flush=True)
            missed += not figure.met and not small
    return missed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
