"""The command line: thin commands over the same use cases as the pages.

Results go to stdout, all else to stderr.
"""
