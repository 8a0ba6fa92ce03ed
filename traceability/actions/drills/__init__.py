"""Drills: lots that the service followed, and people who were told."""
