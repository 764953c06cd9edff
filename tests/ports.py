"""Ports that nobody else is given while a server of the tests is stopped and started again.

A port that the system gave is free again while its server is stopped: another test's server, or
the near end of any line that a browser opens, may be given it. A socket that is bound and does not
listen keeps it (Linux, ip(7): with SO_REUSEADDR on both, a server may bind beside it; the system
gives it to nobody).
"""

import socket

KEPT: list[socket.socket] = []


def own_port() -> int:
    """Return a port that is ours until this process ends, as is the one below it."""
    while True:
        port = keep(0)
        if port and keep(port - 1):
            return port


def keep(port: int) -> int | None:
    """Keep a port (0: any), and return it; None, where somebody has it."""
    kept = socket.socket()
    kept.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        kept.bind(("", port))
    except OSError:
        kept.close()
        return None
    KEPT.append(kept)
    return int(kept.getsockname()[1])
