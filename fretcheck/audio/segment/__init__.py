"""What a stream holds: plucks, cut from it."""
