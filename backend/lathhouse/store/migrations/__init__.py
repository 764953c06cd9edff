"""The history of the tables, from the first one on."""
