"""Acts on the shelves."""
