"""Tests of security."""
