"""The invented nursery, as the events that its phones would have sent."""
