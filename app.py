"""The web application. `flask --app app run` for development; `traceability serve` for use."""

from flask import Flask

from traceability import web
from traceability.settings import Settings, read_settings
from traceability.wiring import Services, wire

LARGEST_BODY = 16 * 1024 * 1024
"""Bytes; scans and forms are small, only photographs come near."""


def create_app(settings: Settings | None = None, *, services: Services | None = None) -> Flask:
    """Return the application on the given services, or on those of the environment."""
    app = Flask("traceability", template_folder="web/templates", static_folder="web/static")
    app.config["MAX_CONTENT_LENGTH"] = LARGEST_BODY
    # A notice may name 50,000 lots, and its scope then goes from page to page as a form.
    app.config["MAX_FORM_MEMORY_SIZE"] = LARGEST_BODY
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.extensions["traceability"] = services or wire(settings or read_settings())
    web.register(app)
    return app
