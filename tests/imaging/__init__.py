"""Tests of what is read from pictures."""
