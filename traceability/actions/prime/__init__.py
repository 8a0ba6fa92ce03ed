"""Acts at the trolley: begin, scan, undo, end, sign."""
