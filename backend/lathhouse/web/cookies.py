"""The names under which a browser keeps our cookies.

Over a sealed line each is set as `__Host-NAME`: a browser takes such a cookie only from this very
host, only sealed, and for the whole of it (RFC 6265bis, 4.1.3.2), so that neither a neighbour's
name nor a plain page can plant one. On a plain line there are no such names. Inside the house a
cookie has one name.
"""

from functools import cached_property

from flask import Request, Response, request
from werkzeug.datastructures import ImmutableMultiDict

PREFIX = "__Host-"
OURS = "lathhouse_"


class NamedRequest(Request):
    """A request whose cookies go by the names that the house uses."""

    @cached_property
    def cookies(self) -> ImmutableMultiDict[str, str]:
        """The cookies; one that was set over a sealed line goes before its plain namesake.

        The plain one is still read there: phones that were paired before have no other.
        """
        sent = super().cookies
        if not self.is_secure:
            return sent
        sealed = {
            name.removeprefix(PREFIX): value
            for name, value in sent.items()
            if name.startswith(PREFIX + OURS)
        }
        return ImmutableMultiDict({**sent.to_dict(), **sealed})


def seal_names(response: Response) -> None:
    """Give the cookies that an answer over a sealed line sets their sealed names."""
    lines = response.headers.getlist("Set-Cookie")
    if not request.is_secure or not lines:
        return
    response.headers.setlist(
        "Set-Cookie", [f"{PREFIX}{line}" if line.startswith(OURS) else line for line in lines]
    )
