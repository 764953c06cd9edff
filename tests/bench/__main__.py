"""Run the measurements that are named, or all of them, and print one line for each figure."""

import sys

from tests.bench import first_load, phone_record, push, tick

MEASUREMENTS = {
    "record": phone_record.measure,
    "push": push.measure,
    "tick": tick.measure,
    "load": first_load.measure,
}


def main(names: list[str]) -> int:
    """Run them; return how many aims were missed."""
    unknown = sorted(set(names) - set(MEASUREMENTS))
    if unknown:
        print(f"no such measurement: {', '.join(unknown)}; there are {', '.join(MEASUREMENTS)}")
        return 2
    missed = 0
    for name in names or MEASUREMENTS:
        for figure in MEASUREMENTS[name]():
            print(figure.line(), flush=True)
            missed += not figure.met
    return missed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
