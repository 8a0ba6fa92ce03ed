"""Acts on a circuit that is primed: move, hold, discard, take in, tag."""
