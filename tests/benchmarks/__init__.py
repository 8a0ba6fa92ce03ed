"""Measurements: printed, and asserted only with a wide margin (`make bench`)."""
