"""The alert clock."""
