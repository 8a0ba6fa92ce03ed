"""Norrvik Sound Hospital: an invented hospital that lives through two years of circuits."""
