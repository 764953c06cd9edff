"""The record: tables, the unit of work and what is derived from the log. Only it writes."""
