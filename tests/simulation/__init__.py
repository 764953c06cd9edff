"""A seeded nursery, its people and phones, on the real server: what rings, what should, how much."""
