"""Tests of the record, the rules and the doors; `e2e/` holds those in a whole browser."""
