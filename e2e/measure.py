"""Measures of a screen, taken from what the browser has laid out and coloured."""

from pathlib import Path
from typing import Any

from playwright.sync_api import Page

SCRIPT = (Path(__file__).parent / "measure.js").read_text()
# Rounding of layout: half a pixel is nobody's thumb.
SLACK_PX = 0.5

Box = dict[str, Any]


def measure(page: Page, name: str, argument: Any = None) -> list[Any]:
    """Run one of the measures of `measure.js`."""
    found: list[Any] = page.evaluate(f"(given) => {SCRIPT}.{name}(given)", argument)
    return found


def too_small(page: Page, least: float) -> list[str]:
    """Return the controls lower or narrower than `least` pixels."""
    return [
        f"{box['name']}: {box['width']:.0f} x {box['height']:.0f}"
        for box in measure(page, "targets")
        if min(box["width"], box["height"]) < least - SLACK_PX
    ]


def too_low(page: Page, least: float, within: str) -> list[str]:
    """Return the controls less than `least` pixels high."""
    return [
        f"{box['name']}: {box['height']:.0f} high"
        for box in measure(page, "targets", within)
        if box["height"] < least - SLACK_PX
    ]


def gap(a: Box, b: Box) -> float:
    """Return the distance in pixels between two boxes: across or down, whichever is larger."""
    across = max(a["left"] - b["right"], b["left"] - a["right"])
    down = max(a["top"] - b["bottom"], b["top"] - a["bottom"])
    return float(max(across, down))


def too_close(page: Page, least: float, within: str) -> list[str]:
    """Return the pairs of controls nearer to each other than `least` pixels."""
    boxes = measure(page, "targets", within)
    return [
        f"{a['name']} and {b['name']}: {gap(a, b):.1f}"
        for index, a in enumerate(boxes)
        for b in boxes[index + 1 :]
        if gap(a, b) < least - SLACK_PX
    ]


def too_faint(page: Page, least: float) -> list[str]:
    """Return the texts whose contrast with their ground is under `least`."""
    faint = {
        f"{one['text']}: {one['ratio']:.2f}"
        for one in measure(page, "texts")
        if one["ratio"] < least
    }
    return sorted(faint)


def sticks_out(page: Page) -> list[str]:
    """Return what reaches past the right edge, so that the page would scroll sideways."""
    return measure(page, "sticking")


def spills(page: Page) -> list[str]:
    """Return the controls whose words are wider than they are."""
    return measure(page, "spilling")


def type_of(page: Page) -> tuple[set[float], set[str]]:
    """Return the sizes in pixels and the weights of all text on the screen but in drawings."""
    found = [one for one in measure(page, "texts") if not one["drawn"]]
    return {round(one["size"], 1) for one in found}, {one["weight"] for one in found}
