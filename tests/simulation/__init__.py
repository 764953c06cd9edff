"""A seeded nursery with people, phones and faults on the real server: what rings, and should."""
