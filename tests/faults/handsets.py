"""The phones of the simulator: one Chromium with a page for each, which asks the test what to do.

Nothing watches this browser: what a debugger would have to be told of every request and frame takes
longer than the schedules themselves. A page asks the server of the test, over HTTP, and is answered
with its next act; what came of it is said with the next question.
"""

import contextlib
import json
import queue
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

from tests.browser import browser_arguments

ANSWERS_WITHIN_S = 120
# Two of three pages are in the background: nothing may go slower there.
ALIKE = (
    "--disable-background-timer-throttling",
    "--disable-renderer-backgrounding",
    "--disable-backgrounding-occluded-windows",
    "--disable-popup-blocking",
)


class Line:
    """What a page is asked, one thing at a time, and what it answers."""

    def __init__(self) -> None:
        self.asked: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self.answers: queue.SimpleQueue[bytes] = queue.SimpleQueue()

    def ask(self, act: str, *given: Any) -> Any:
        """Ask the page for something, and return its answer."""
        self.asked.put(json.dumps([act, given]).encode())
        answer = json.loads(self.answers.get(timeout=ANSWERS_WITHIN_S))
        if "fault" in answer:
            raise RuntimeError(answer["fault"])
        return answer.get("value")

    def turn(self, body: bytes) -> bytes | None:
        """Take a page's answer, and wait for its next question; None, where there is no more."""
        if body:
            self.answers.put(body)
        return self.asked.get()

    def ready(self) -> None:
        """Wait until the page has begun to ask."""
        self.answers.get(timeout=ANSWERS_WITHIN_S)

    def end(self) -> None:
        """Let the page go."""
        self.asked.put(None)


class Chromium:
    """A browser that nobody watches, with a profile of its own; its first page opens the others."""

    def __init__(self, path: str, folder: Path, address: str) -> None:
        self.profile = tempfile.TemporaryDirectory(
            prefix="phones-", dir=folder, ignore_cleanup_errors=True
        )
        words = [path, "--headless", *browser_arguments(), *ALIKE]
        self.process = subprocess.Popen(
            [*words, f"--user-data-dir={self.profile.name}", address],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def close(self) -> None:
        """End the browser."""
        self.process.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(20)
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self.profile.cleanup()


def lightest(otherwise: str) -> str:
    """Return the path of a Chromium without windows, where one is installed: it is quicker."""
    return shutil.which("chromium-headless-shell") or otherwise
