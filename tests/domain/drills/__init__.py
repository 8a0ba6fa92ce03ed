"""Tests of the drill's rules."""
