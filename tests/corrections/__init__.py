"""Setting the record right: rules, acts, laws."""
