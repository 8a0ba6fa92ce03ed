"""Reads what a scanner sent: text in, meaning out. Imports nothing of the project."""
