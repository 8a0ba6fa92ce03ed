"""Tables, loaders and projections. The only room that knows tables; writes only when asked to."""
