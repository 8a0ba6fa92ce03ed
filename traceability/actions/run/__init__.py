"""Acts at the bedside: take, flow on, flow off, swap, change out, patient, end."""
