"""Tests, in folders that mirror the rooms; each test's name is a sentence."""
