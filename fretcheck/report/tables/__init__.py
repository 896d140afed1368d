"""Tables for the terminal, CSV and JSON."""
