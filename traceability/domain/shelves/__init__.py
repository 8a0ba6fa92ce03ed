"""The four shelves: which circuits and patients met what a notice names, and how sure that is.

Pure: a `Situation` (what is known at one moment) and a `Scope` (what is asked) in, an `Answer`
out. `situation_at` makes a situation out of plain facts and their corrections; a store may build
one from its own links. Nothing here depends on the order of a set or a dictionary.
"""
