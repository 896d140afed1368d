"""Many necks at once."""
