"""Deviations become causes: forward model, inference, findings, corrections, verdict."""
