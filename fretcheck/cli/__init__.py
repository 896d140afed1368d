"""One thin module a command: parse, call, render, translate errors into one line and an exit code."""
