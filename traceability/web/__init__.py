"""Pages: a view reads the form, calls one act or one read, and picks a template."""

from flask import Flask

from traceability.web import (
    circuits,
    down_time,
    errors,
    filters,
    headers,
    health,
    lists,
    moves,
    people,
    prime,
    recall,
    retrieval,
    runs,
    same_origin,
    session,
    shelf,
    sign_in,
    take,
    trolley,
)

PARTS = (
    *(shelf, sign_in, prime, trolley, circuits, take, runs, recall, lists, people, health),
    *(moves, retrieval, down_time),
)


def register(app: Flask) -> None:
    """Add all pages and what surrounds them to the app."""
    same_origin.register(app)
    session.register(app)
    headers.register(app)
    errors.register(app)
    filters.register(app)
    for part in PARTS:
        app.register_blueprint(part.pages)
