"""Notices as things with a life."""
