"""Shown: terminal tables, HTML with figures, CSV and JSON."""
