"""Setting the record right: corrections, rulings on claims, patient references that are one."""
