"""From observations to the one posterior of everything that may be out, and its draws."""
