"""What people say about lots: which of two texts is meant, and what a maker's notice tells."""
