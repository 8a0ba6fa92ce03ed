"""Pages: what they are drawn from, and how scans reach them."""
