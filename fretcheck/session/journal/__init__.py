"""What a session keeps on disk, and what it comes to."""
