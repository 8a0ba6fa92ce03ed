"""Pages: a view reads the form, calls one act or one read, and picks a template."""

from flask import Flask

from traceability.web import (
    circuit_labels,
    circuits,
    errors,
    filters,
    headers,
    health,
    labels,
    lists,
    people,
    prime,
    recall,
    runs,
    same_origin,
    session,
    shelf,
    sign_in,
    tag_text,
    take,
    trolley,
)

PARTS = (
    shelf,
    sign_in,
    prime,
    trolley,
    circuits,
    circuit_labels,
    take,
    tag_text,
    runs,
    recall,
    lists,
    labels,
    people,
    health,
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
