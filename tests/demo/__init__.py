"""The demo nursery."""
