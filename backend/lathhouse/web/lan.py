"""The nursery's own network: where it is found there, and the page that hands out trust."""

import base64
import hashlib
import html
import ipaddress
import socket
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import segno

from lathhouse.errors import BadField
from lathhouse.web import authority, names
from lathhouse.web.authority import Address, Files, Site
from lathhouse.web.names import Names

# Nothing is sent there: it only has the machine say which of its addresses faces the network.
FACING = {socket.AF_INET: ("10.255.255.255", 9), socket.AF_INET6: ("fd00::ffff", 9)}
AUTHORITY_PATH = "/lathhouse-authority.crt"


@dataclass(frozen=True)
class Place:
    """Where the nursery is found on its own network."""

    site: Site
    files: Files
    port: int

    @property
    def address(self) -> str:
        """The address that people open."""
        return f"https://{self.site.name}:{self.port}/"


class Network:
    """The nursery on its own network, as its names stand at the moment of asking.

    A move of the name begins and ends by a command in another process, so nothing is remembered
    but by the age of the file that says it.
    """

    def __init__(
        self, folder: Path, addresses: tuple[Address, ...], port: int, plain_port: int = 0
    ) -> None:
        self.folder, self.addresses, self.port = folder, addresses, port
        self.plain_port = plain_port
        self.seen: tuple[int, Names] | None = None
        self.on_change: Callable[[], None] = lambda: None

    def names(self) -> Names:
        """Return its names as they stand."""
        age = names.kept_in(self.folder).stat().st_mtime_ns
        if self.seen is None or self.seen[0] != age:
            self.seen = (age, names.read(self.folder))
            self.on_change()
        return self.seen[1]

    def place(self) -> Place:
        """Return the place under the name that phones know."""
        now = self.names()
        return self._at(now.name, now.slot)

    def places(self) -> list[Place]:
        """Return the place under each name that answers, the new one last during a move."""
        now = self.names()
        return [self.place(), *([self._at(now.next, now.other_slot)] if now.next else [])]

    def _at(self, name: str, slot: str) -> Place:
        return Place(Site(name, self.addresses), Files(self.folder / slot), self.port)

    def prepare(self, now: datetime) -> None:
        """Make or renew what certificates its names need."""
        for place in self.places():
            authority.prepare(place.files, place.site, now)

    @property
    def help_at(self) -> str:
        """The address of the plain page."""
        first = self.addresses[0]
        host = f"[{first}]" if first.version == 6 else str(first)
        return f"http://{host}:{self.plain_port}/"

    def move(self) -> dict[str, Any] | None:
        """Return what phones are told of a move under way, or None."""
        now = self.names()
        if now.next is None:
            return None
        old, new = self.places()
        before, after = authority.fingerprint(old.files), authority.fingerprint(new.files)
        return {
            "from": now.name,
            "to": now.next,
            "begun_at": now.begun_at,
            "address": new.address,
            "trust": {"help": self.help_at, "fingerprint": after} if before != after else None,
        }


def own_addresses(more: tuple[str, ...] = ()) -> tuple[Address, ...]:
    """Return the addresses of this machine that face its network, and those given.

    Raises:
        BadField: a given one is no address.
    """
    found: set[Address] = set()
    for family, target in FACING.items():
        with socket.socket(family, socket.SOCK_DGRAM) as probe:
            try:
                probe.connect(target)
            except OSError:
                continue  # it has none of that kind
            found.add(ipaddress.ip_address(probe.getsockname()[0].split("%")[0]))
    for text in more:
        try:
            found.add(ipaddress.ip_address(text))
        except ValueError as error:
            raise BadField(f"{text} is no address; one looks like 192.168.1.20.") from error
    return tuple(sorted(found, key=lambda one: (one.version, int(one))))


def drawn(text: str) -> str:
    """Return a QR code (ISO/IEC 18004) as a drawing."""
    return str(segno.make(text, error="m").svg_inline(scale=6, border=4, light="white"))


def drawn_in_terminal(text: str) -> str:
    """Return a QR code as lines of a terminal."""
    rows = [list(row) for row in segno.make(text, error="l").matrix_iter(border=2)]
    rows += [[0] * len(rows[0])] if len(rows) % 2 else []
    # Dark on light whatever the terminal's colours: a light square is drawn, a dark one is not.
    squares = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
    pairs = zip(rows[::2], rows[1::2], strict=True)
    return "\n".join("".join(squares[both] for both in zip(*pair, strict=True)) for pair in pairs)


STEPS = {
    "An iPhone or iPad": (
        "Tap “Take the certificate” in Safari and allow the download.",
        "Settings › General › VPN & Device Management: open it, compare the fingerprint, install.",
        "Settings › General › About › Certificate Trust Settings: switch it on.",
    ),
    "An Android phone": (
        "Tap “Take the certificate”; it is saved among the downloads.",
        "Settings › Security › Encryption & credentials › Install a certificate › CA certificate.",
        "Choose the file. The phone warns that others could listen: this one can vouch for"
        " this nursery's own name and network only.",
    ),
    "A computer": (
        "Take the certificate and open it.",
        "Windows: Install › Local machine › Trusted root authorities. Mac: Keychain Access, then"
        " “Always trust”. Linux: the browser's settings, certificates, authorities.",
        "Compare the fingerprint before you agree.",
    ),
}


def welcome(place: Place, before: Place | None = None) -> str:
    """Return the page that hands out the authority's certificate, with help for each phone.

    Args:
        before: the place that the nursery moves from, where its name is on the move.
    """
    kinds = "".join(
        f"<details><summary>{html.escape(kind)}</summary><ol>"
        + "".join(f"<li>{html.escape(step)}</li>" for step in steps)
        + "</ol></details>"
        for kind, steps in STEPS.items()
    )
    print_of = authority.fingerprint(place.files)
    lines = "<br>".join(
        html.escape(print_of[start : start + 24]) for start in range(0, len(print_of), 24)
    )
    address = html.escape(place.address)
    moving = f"<p>{html.escape(MOVING.format(name=before.site.name))}</p>" if before else ""
    return f"""<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Trust this nursery</title><style>{STYLE}</style></head><body>
<h1>Trust this nursery</h1>
<p>Once on each phone. After that the app works without a signal, and what it sends is sealed.</p>
<h2>1. Take the certificate</h2>
<p><a class="act" href="{AUTHORITY_PATH}">Take the certificate</a></p>
<p>It can vouch for <b>{html.escape(place.site.name)}</b> and this network only.</p>{moving}
<h2>2. Install it</h2>{kinds}
<p>Its SHA-256 fingerprint must be the one that the server printed when it was started:</p>
<p class="print">{lines}</p>
<p>If it is another, stop: somebody stands between. Tell the owner.</p>
<h2>3. Open the app</h2>
<p><a class="act" href="{address}">{address}</a></p>{drawn(place.address)}
</body></html>"""


MOVING = (
    "The nursery is moving here from {name}. A phone that knows it there is led over by its own"
    " app: install this certificate, then go on with the steps in the app."
)
STYLE = """body{font:18px/1.5 system-ui,sans-serif;max-width:38rem;margin:0 auto;padding:1rem;
color:#16211a;background:#fbfaf5}h1{font-size:1.7rem}h2{font-size:1.2rem;margin-top:2rem}
.act{display:block;min-height:60px;line-height:60px;text-align:center;border-radius:12px;
background:#1c4d33;color:#fff;font-weight:600;text-decoration:none}summary{min-height:60px;
line-height:60px;font-weight:600}.print{font:1.05rem/1.7 ui-monospace,monospace}
svg{display:block;max-width:100%;height:auto;margin:1rem auto}"""
STYLE_HASH = f"sha256-{base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()}"
PLAIN_CSP = (
    f"default-src 'none'; style-src '{STYLE_HASH}'; object-src 'none'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
PLAIN_HEADERS = [
    (b"content-security-policy", PLAIN_CSP.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cache-control", b"no-store"),
]


class PlainDoor:
    """The plain-HTTP side: it hands out the authority's certificate and does nothing else."""

    def __init__(self, network: Network, inner: Callable[..., Any]) -> None:
        self.network, self.inner = network, inner

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer a plain request here; let a sealed one through to the app."""
        if scope["type"] != "http" or scope.get("scheme") == "https":
            await self.inner(scope, receive, send)
            return
        status, kind, body = self.answer(scope["method"], scope["path"])
        headers = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
        start = {"type": "http.response.start", "status": status}
        await send({**start, "headers": [*headers, *PLAIN_HEADERS]})
        sent = b"" if scope["method"] == "HEAD" else body
        await send({"type": "http.response.body", "body": sent, "more_body": False})

    def answer(self, method: str, path: str) -> tuple[int, bytes, bytes]:
        """Return (status, content type, body) of a plain request."""
        if method not in ("GET", "HEAD"):
            return 405, b"text/plain; charset=utf-8", b"Only the certificate is handed out here.\n"
        *before, place = self.network.places()
        if path == AUTHORITY_PATH:
            return 200, b"application/x-x509-ca-cert", authority.authority_der(place.files)
        if path == "/":
            page = welcome(place, before[0] if before else None)
            return 200, b"text/html; charset=utf-8", page.encode()
        return 404, b"text/plain; charset=utf-8", b"There is nothing else here; open /.\n"
