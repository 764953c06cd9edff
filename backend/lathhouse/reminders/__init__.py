"""What goes out by itself: the alert clock; later the calendar feed, push and mail."""
