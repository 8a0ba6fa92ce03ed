"""Tests of rules."""
