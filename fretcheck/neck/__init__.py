"""What the neck is meant to be: description, tuning, fret layout, strings and their physics constants."""
