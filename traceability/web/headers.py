"""Headers on every answer: what the page may load, and that nothing of a patient is stored."""

from typing import Final

from flask import Flask, Response, request

POLICY: Final = (
    "default-src 'self'; img-src 'self' blob:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)


def register(app: Flask) -> None:
    """Set the headers after each request."""

    @app.after_request
    def _headers(response: Response) -> Response:
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("X-Content-Type-Options", "nosniff")
        response.headers.setdefault("Referrer-Policy", "same-origin")
        if request.is_secure:
            response.headers.setdefault("Strict-Transport-Security", "max-age=31536000")
        if request.endpoint == "static":
            response.headers.setdefault("Cache-Control", "no-cache")
        else:
            response.headers["Cache-Control"] = "no-store"
        return response
