"""Drawings: the neck, its strings, a lot."""
