"""How much of what is read comes from the measuring."""
