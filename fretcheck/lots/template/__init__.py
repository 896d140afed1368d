"""What the necks of one template have in common."""
