"""Which circuits contain lot X, where are they, and who was on them when.

Nobody is left out. Select only; every answer says at which ledger number it was cut.
"""
