"""Records and rules of the trade. Pure: arguments in, values out; no storage, clock or web."""
