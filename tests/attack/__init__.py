"""Attacks: what strangers, other nurseries and hostile bodies get from the server."""
