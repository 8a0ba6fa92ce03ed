"""Read-only queries: frozen records for pages. Nothing here writes, and no row leaves this room."""
