"""How deep a JSON value is nested: deeper ones only tire their readers."""

from typing import Any

# Nothing that we take is nested deeper than a crop's steps. Ours.
LEVELS_MAX = 64


def is_deeper(value: Any, levels: int) -> bool:
    """Say whether a JSON value is nested deeper than so many levels (a bare text has none)."""
    level = [value] if isinstance(value, list | dict) else []
    for _ in range(levels):
        inner = (part.values() if isinstance(part, dict) else part for part in level)
        level = [one for parts in inner for one in parts if isinstance(one, list | dict)]
        if not level:
            return False
    return True
