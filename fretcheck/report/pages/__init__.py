"""HTML pages and sheets."""
