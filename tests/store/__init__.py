"""The record at rest."""
