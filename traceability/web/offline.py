"""What a device may keep to open a prime without a network: static files and one empty page."""

import hashlib
from functools import cache
from importlib.resources import files
from typing import Final

from flask import Blueprint, Response, jsonify, render_template, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from traceability.domain.act_cards import Act
from traceability.reads.lists import site_facts
from traceability.web import session
from traceability.web.trolley import ROW
from traceability.web.trolley_strip import button

pages = Blueprint("offline", __name__)

SHELL: Final = "/trolley-shell"
KEEPABLE: Final = (".js", ".css", ".svg")
WORKER: Final = "sw.js"


@pages.get("/sw.js")
def worker() -> Response:
    """Give the service worker; it stands at the top so that it may answer for pages of primes."""
    code = (files("traceability.web") / "static" / WORKER).read_text(encoding="utf-8")
    return Response(code, mimetype="text/javascript")


@pages.get("/trolley-files")
def listed() -> ResponseReturnValue:
    """Say which files a device keeps, and of which version they are."""
    names = [name for name, _ in _static() if name != WORKER]
    found = [url_for("static", filename=name) for name in names]
    return jsonify({"version": _version(), "files": found})


@pages.get(SHELL)
def shell() -> ResponseReturnValue:
    """Give the trolley page without a prime, a person or a device in it."""
    nothing = {"number": "", "place": "", "circuit_type": "", "recorded": "", "of": ""}
    return render_template(
        "trolley.html",
        empty=True,
        t={**nothing, "priming": True},
        strip={"verdict": "none", "word": "", "sentence": "", "lines": []},
        plan_svg=Markup('<svg class="plan"></svg>'),
        plan_list=[],
        acts=[button(act) for act in ROW],
        eighth=button(Act.PAUSE),
        next={"label": "Next step: end the prime", "missing": "", "solid": False, "url": ""},
        after="",
        nav="prime",
    )


def _version() -> str:
    """Return what changes when a file, the page or the unit's name on it changes."""
    ours = session.services()
    with ours.reads() as reads:
        site = site_facts(reads)
    unit = f"{site.name}|{site.unit}|{site.practice}" if site else ""
    return hashlib.sha256(f"{_code()}|{unit}".encode()).hexdigest()[:16]


@cache
def _code() -> str:
    digest = hashlib.sha256()
    for name, content in _static():
        digest.update(name.encode() + b"\0" + content)
    for name in ("base.html", "trolley.html", "trolley_camera.html", "marks.html"):
        digest.update((files("traceability.web") / "templates" / name).read_bytes())
    return digest.hexdigest()


@cache
def _static() -> tuple[tuple[str, bytes], ...]:
    """Return names and contents of the files of pages, in order."""
    folder = files("traceability.web") / "static"
    found = [each for each in folder.iterdir() if each.name.endswith(KEEPABLE)]
    return tuple((each.name, each.read_bytes()) for each in sorted(found, key=lambda x: x.name))
