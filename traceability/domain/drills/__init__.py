"""The drill: how much of a lot the record can follow from receipt to end, and people's own drill.

Pure rules; nothing here asks a clock, a store or chance.
"""
