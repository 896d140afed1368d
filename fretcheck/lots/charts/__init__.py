"""Drift and capability of a process."""
