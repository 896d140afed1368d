"""From plucks to an inspection: plan, runner, journal, and the same for recorded strings."""
