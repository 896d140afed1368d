"""What a neck reads, and what may be out: the forward model and its parameters."""
