"""What is read off the posterior: notes, findings, verdict, corrections, and what to pluck next."""
