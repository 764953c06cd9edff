"""A port that is kept is given to nobody, and its own server may come and go."""

import socket

import pytest

from tests.ports import keep, own_port


def listen_at(port: int) -> socket.socket:
    server = socket.socket()
    server.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    server.bind(("127.0.0.1", port))
    server.listen()
    return server


def test_a_server_comes_and_goes_on_its_own_port_and_nobody_else_is_given_it():
    port = own_port()
    for _ in range(2):
        with listen_at(port):
            socket.create_connection(("127.0.0.1", port), timeout=60).close()
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), timeout=60)
    for one in (port, port - 1):
        with socket.socket() as stranger, pytest.raises(OSError, match="in use"):
            stranger.bind(("127.0.0.1", one))
    with listen_at(port):
        assert keep(port) is None
