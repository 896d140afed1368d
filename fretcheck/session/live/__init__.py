"""A live session: the ear, the runner and what it says of a pluck."""
