"""Where sound comes from, and what a device or a file does."""
