"""Tests of the command line, as processes and in-process."""
