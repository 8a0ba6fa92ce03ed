"""Who may do what, and who somebody is."""
