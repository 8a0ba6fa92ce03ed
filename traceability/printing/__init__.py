"""Paper: facts in, PDF bytes out. True millimetres, vector symbols, no patient on a tag."""
