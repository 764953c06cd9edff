"""The phone's store in a real browser, against the real server behind a network under control."""
