"""Pictures: bytes in, the texts of symbols and their places out. Touches no file and no store."""
