"""Sync at the server: order, cursors, old phones."""
