"""A real browser against a real server: one file for each promise."""
