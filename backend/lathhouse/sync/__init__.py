"""Events in, rows out: push, pull and offer, and the shape of every event kind."""
