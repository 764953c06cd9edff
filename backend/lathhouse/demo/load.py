"""Filling an empty record with the demo."""


def load(site_id: str, now_ms: int) -> None:
    """Load the demo nursery into an empty site."""
