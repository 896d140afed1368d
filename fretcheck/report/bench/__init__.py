"""What is shown and spoken at the bench."""
