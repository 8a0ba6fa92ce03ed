"""Use cases: one file a subject, one transaction an act. Only these append to the ledger.

An action checks, decides and appends events; the rows follow from the events (see
`storage.projections`). Nothing here knows of HTTP, templates or printers.
"""
