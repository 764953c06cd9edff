"""Pure rules: events in, lots and findings out. No clock, no database, no I/O."""
