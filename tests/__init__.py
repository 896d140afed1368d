"""Tests; each checks the main job against something outside the project where it can."""
