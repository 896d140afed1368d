"""A lot: its plan, its sample, its decision and their risks."""
