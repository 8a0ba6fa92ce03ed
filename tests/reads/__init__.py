"""Rules of the trade, checked against outside values and by laws."""
