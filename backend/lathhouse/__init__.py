"""Lathhouse: the daily rounds of a small container nursery, on the phone and on the server."""
