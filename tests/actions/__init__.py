"""What the acts record, refuse and never block, on both databases."""
