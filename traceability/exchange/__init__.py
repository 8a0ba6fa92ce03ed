"""Other systems' texts: what they read of ours and what we read of theirs."""
