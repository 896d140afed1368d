"""Microphone, screen and keys around a live session."""
