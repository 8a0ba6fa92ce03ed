"""Pages: a view reads the form, calls one act or one read, and picks a template."""

from flask import Flask

from traceability.web import (
    ask,
    check,
    circuit_labels,
    circuits,
    corrections,
    down_time,
    drill,
    equipment,
    errors,
    exceptions,
    filters,
    headers,
    health,
    labels,
    lists,
    lots,
    moves,
    notice_acts,
    notice_files,
    notice_papers,
    notice_work,
    notices,
    people,
    people_drill,
    policy,
    prime,
    recall,
    recall_pictures,
    receive,
    retrieval,
    run_extras,
    runs,
    same_origin,
    scanner,
    scopes,
    session,
    shelf,
    sign_in,
    standby,
    stock,
    tag_text,
    take,
    trolley,
    work_days,
)

PARTS = (
    shelf,
    check,
    standby,
    sign_in,
    prime,
    trolley,
    circuits,
    circuit_labels,
    take,
    tag_text,
    runs,
    corrections,
    lots,
    run_extras,
    equipment,
    recall,
    lists,
    labels,
    policy,
    people,
    health,
    stock,
    receive,
    moves,
    retrieval,
    down_time,
    scopes,
    ask,
    recall_pictures,
    drill,
    people_drill,
    notices,
    notice_acts,
    notice_files,
    notice_work,
    notice_papers,
    exceptions,
    work_days,
    scanner,
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
