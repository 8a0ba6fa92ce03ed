"""Stories: a file's facts, entered into a store of its own, and its questions asked of it."""
