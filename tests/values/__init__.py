"""Turns the forms of outside trade values into calls of the product's own rules.

One module for a group of areas; each lists its forms: the keys that a `given` must have, and the
function that answers it. Nothing here looks at what is expected.
"""
