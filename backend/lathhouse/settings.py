"""Settings: from the command line and the environment, in one place."""

import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

BODY_MAX_BYTES = 16 * 1024 * 1024
BATCH_MAX = 1000
# What is left of a disk then is for records alone. Ours: five times what `/ready` asks for.
PHOTOS_LEAVE_FREE_BYTES = 1_000_000_000
# An address as PostgreSQL's own tools take it is led to the driver that we install.
DRIVERS = dict.fromkeys(("postgres", "postgresql"), "postgresql+psycopg")


def wall_clock_ms() -> int:
    """Return the server's time in milliseconds since 1970."""
    return int(time.time() * 1000)


def default_data() -> Path:
    """Return the folder of the record where the command line names none."""
    return Path(os.environ.get("LATHHOUSE_DATA", "lathhouse-data"))


def default_frontend() -> Path:
    """Return the front end's folder: inside the installed package, else in the checkout."""
    packaged = Path(str(files("lathhouse") / "frontend"))
    return packaged if packaged.is_dir() else Path(__file__).parents[2] / "frontend"


def backups_in(settings: "Settings") -> Path:
    """Return the folder of the nightly backups: the environment's, or one beside the record."""
    given = os.environ.get("LATHHOUSE_BACKUPS", "")
    return Path(given) if given else settings.data / "backups"


def forecast_source() -> str:
    """Return the file or http(s) address that the environment names for the forecast, or ""."""
    return os.environ.get("LATHHOUSE_FORECAST", "")


@dataclass
class Settings:
    """What a running server needs to know."""

    data: Path = field(default_factory=default_data)
    database_url: str = ""
    demo: bool = False
    frontend: Path = field(default_factory=default_frontend)
    now_ms: Callable[[], int] = wall_clock_ms
    # Where phones open the app, for the links in messages; and whom a push service can turn to.
    address: str = field(default_factory=lambda: os.environ.get("LATHHOUSE_ADDRESS", ""))
    contact: str = field(default_factory=lambda: os.environ.get("LATHHOUSE_CONTACT", ""))
    # Which nursery, where the database holds several.
    site: str = field(default_factory=lambda: os.environ.get("LATHHOUSE_SITE", ""))
    # How often one token or one phone may ask; a phone at work asks a tenth of that. Ours.
    requests_a_minute: int = field(
        default_factory=lambda: int(os.environ.get("LATHHOUSE_REQUESTS_A_MINUTE", "1200"))
    )
    # A push service of one's own on the inner network, and the authority that it is certified by.
    push_inner: bool = field(default_factory=lambda: os.environ.get("LATHHOUSE_PUSH_INNER") == "1")
    push_trusted: Path | None = field(
        default_factory=lambda: (
            Path(found) if (found := os.environ.get("LATHHOUSE_PUSH_TRUSTED")) else None
        )
    )

    @property
    def url(self) -> str:
        """Return the database's address: the one given, the environment's, or SQLite in `data`."""
        given = self.database_url or os.environ.get("LATHHOUSE_DATABASE_URL", "")
        if not given:
            return f"sqlite:///{(self.data / 'lathhouse.sqlite').absolute()}"
        scheme, separator, rest = given.partition("://")
        return f"{DRIVERS.get(scheme, scheme)}{separator}{rest}"
