"""The two cores are one core."""
