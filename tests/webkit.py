"""A real WebKit for tests, driven through its own WebDriver: the engine of half of all phones.

It is demanded where `LATHHOUSE_DEMAND_WEBKIT` is 1, as the gate sets it: it is installed then, or
the run fails. Elsewhere it is tried where it is there; where not, the run's last lines say so.
"""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from selenium.common.exceptions import WebDriverException
from selenium.webdriver import WebKitGTK
from selenium.webdriver.webkitgtk.options import Options
from selenium.webdriver.webkitgtk.service import Service

from tests.debian import install

PACKAGES = ("webkit2gtk-driver", "xvfb")
PROGRAMS = ("WebKitWebDriver", "Xvfb")
TESTS = "test_webkit.py"
WINDOW = Path(__file__).with_name("webkit_window.py")
LATER_SECONDS = 60
NOT_TRIED = (
    f"WebKit was not tried: it is not installed (Debian's {' and '.join(PACKAGES)}; as root"
    " LATHHOUSE_DEMAND_WEBKIT=1 installs them)."
)


def demanded() -> bool:
    """Say whether a run without WebKit is a failure."""
    return os.environ.get("LATHHOUSE_DEMAND_WEBKIT") == "1"


def installed() -> bool:
    """Say whether both programs are there."""
    return all(shutil.which(name) for name in PROGRAMS)


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Leave its tests out where it is neither demanded nor there; the last lines tell."""
    left_out = collection_path.name == TESTS and not demanded() and not installed()
    return True if left_out else None


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say in the run's last lines that WebKit was not tried (in the process that prints them)."""
    if not demanded() and not installed():
        terminalreporter.write_line(NOT_TRIED, yellow=True)


def find_webkit() -> dict[str, str]:
    """Return {program: path}: the system's, or Debian's installed now.

    Fails, naming the packages, where they cannot be had.
    """
    install(PACKAGES, installed)
    if not installed():
        names = " and ".join(f"`{name}`" for name in PACKAGES)
        pytest.fail(f"No WebKit: install Debian's packages {names}.", pytrace=False)
    return {name: str(shutil.which(name)) for name in PROGRAMS}


@pytest.fixture(scope="session")
def display() -> Iterator[dict[str, str]]:
    """The environment of programs that draw on a screen of their own."""
    reading, writing = os.pipe()
    command = [find_webkit()["Xvfb"], "-displayfd", str(writing), "-screen", "0", "800x900x24"]
    screen = subprocess.Popen(
        [*command, "-nolisten", "tcp"], pass_fds=[writing], stderr=subprocess.DEVNULL
    )
    os.close(writing)
    with os.fdopen(reading) as said:
        number = said.readline().strip()
    yield {
        **os.environ,
        "DISPLAY": f":{number}",
        # Nothing here asks a graphics card, a message bus or a proxy of the machine's.
        "GDK_BACKEND": "x11",
        "LIBGL_ALWAYS_SOFTWARE": "1",
        "NO_AT_BRIDGE": "1",
        "no_proxy": "*",
        # As root its own sandbox cannot be had.
        **({"WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1"} if os.geteuid() == 0 else {}),
    }
    screen.terminate()
    screen.wait(timeout=LATER_SECONDS)


class WebKitPhone:
    """A phone of the other engine: a window of a phone's size whose storage outlives it."""

    def __init__(self, profile: Path, environment: dict[str, str]) -> None:
        self.profile, self.environment = profile, environment
        self.driver: WebKitGTK | None = None
        self.program = profile.with_suffix(".sh")
        self.program.write_text(f'#!/bin/sh\nexec "{sys.executable}" "{WINDOW}" "{profile}"\n')
        self.program.chmod(0o755)

    def open(self, address: str) -> WebKitGTK:
        """Start the browser on this phone's profile, at an address."""
        options = Options()
        options.binary_location = str(self.program)
        service = Service(find_webkit()["WebKitWebDriver"], env=self.environment)
        self.driver = WebKitGTK(options=options, service=service)
        self.driver.set_script_timeout(2 * LATER_SECONDS)
        self.driver.get(address)
        return self.driver

    def kill(self) -> None:
        """End the browser as a dead battery would: SIGKILL, with nothing said to it before."""
        os.kill(int((self.profile / "pid").read_text()), signal.SIGKILL)
        assert self.driver is not None
        self.driver.service.stop()
        self.driver = None

    def close(self) -> None:
        """Close the browser and its driver, or let go of those that are dead already."""
        if self.driver is not None:
            with contextlib.suppress(WebDriverException):
                self.driver.quit()
            self.driver = None

    def ask(self, expression: str) -> Any:
        """Return what an expression, which may be a promise, comes to on the page."""
        assert self.driver is not None
        said = self.driver.execute_async_script(
            f"""const answer = arguments[arguments.length - 1];
            (async () => ({expression}))().then(
              (value) => answer({{ value }}), (error) => answer({{ error: String(error) }}));"""
        )
        assert "error" not in said, said["error"]
        return said.get("value")

    def until(self, condition: str) -> None:
        """Wait until an expression, which may be a promise, holds on the page."""
        self.ask(
            f"""(async () => {{
              const end = performance.now() + {LATER_SECONDS * 1000};
              while (!(await ({condition}))) {{
                if (performance.now() > end) throw new Error("not in time: " + {condition!r});
                await new Promise((go) => setTimeout(go, 50));
              }}
            }})()"""
        )


@pytest.fixture
def webkit_phone(display: dict[str, str], tmp_path: Path) -> Iterator[Callable[[str], WebKitPhone]]:
    """Make phones of the other engine: `webkit_phone("shed")`."""
    made: list[WebKitPhone] = []

    def make(name: str) -> WebKitPhone:
        made.append(WebKitPhone(tmp_path / f"webkit-{name}", display))
        return made[-1]

    yield make
    for one in made:
        one.close()
