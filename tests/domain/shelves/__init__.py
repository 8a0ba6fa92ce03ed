"""The four shelves: stories worked out by hand, laws, and a brute-force reference."""
