"""Findings, verdicts and comparisons in words."""
