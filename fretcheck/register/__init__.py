"""Inspections kept: the document of an inspection, and the database that holds it."""
