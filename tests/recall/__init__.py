"""Recall: right, leaves nobody out, repeats exactly."""
