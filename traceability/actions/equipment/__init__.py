"""Acts on machines: the register, what they serve, where they stand."""
