"""The command `inspect` and its jobs."""
