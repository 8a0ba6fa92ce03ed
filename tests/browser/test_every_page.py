"""Every page opens without a complaint of the browser and fits both sizes."""

from pathlib import Path

from flask import Flask
from playwright.sync_api import Browser

from app import create_app
from tests.browser.axe import violations
from tests.browser.person import person
from tests.browser.unit import TYPE, Unit

SEEN_ELSEWHERE = {
    "prime.end_page",  # of a prime that is under way: `test_from_scan_to_recall.py` goes there
    "trolley.page",
    "live.after",  # no page: `test_two_devices.py`
    "offline.listed",
    "offline.worker",
    "offline.shell",  # shown without a network: `test_offline.py`
    "pauses.page",  # of a prime that is under way: `test_two_devices.py`
    "recall.answered",
    "recall_pictures.pictures",  # of an answer: `test_from_scan_to_recall.py` goes there
    "steps.version_page",  # of a list that was set: `tests/web/test_steps.py` goes there
    "notices.new_page",  # of who works on notices: `test_notices.py`
    "camera.kept",  # of who may see photos: `test_camera.py`
    "exceptions.page",  # of the auditor: `test_notices.py`
    "moves.list_page",  # of a circuit that came from elsewhere: `test_moves.py` goes there
}


def addresses(app: Flask, number: str) -> dict[str, str]:
    """Return where each page of the application is, for the unit's one circuit and run."""
    given = {"number": number}
    found = {}
    with app.test_request_context():
        for rule in app.url_map.iter_rules():
            if "GET" not in (rule.methods or set()) or rule.endpoint in SEEN_ELSEWHERE:
                continue
            ends = (".pdf", ".csv", ".json", ".svg", ".ics", ".png")
            if any(rule.rule.endswith(end) for end in ends):
                continue
            name = rule.endpoint
            if name == "static" or name.startswith(("health", "api")):
                continue
            if name.startswith("notice") and rule.arguments:
                continue  # of a notice: `test_notices.py` goes there
            wanted = {"number": "R-0001"} if name.startswith("runs.") else given
            if rule.arguments <= set(wanted):
                values = {key: wanted[key] for key in rule.arguments}
                found[name] = app.url_for(name, **values, _external=False)
    return found


def test_the_checker_of_pages_finds_what_is_wrong(chromium: Browser) -> None:
    page = chromium.new_page()
    page.set_content("<main><img src='x'><p style='color:#aaa;background:#fff'>pale</p></main>")
    found = " ".join(violations(page, night=False))
    page.close()
    assert "image-alt" in found
    assert "color-contrast" in found


def test_every_page_opens_and_fits(unit: Unit, base: str, chromium: Browser, seen: Path) -> None:
    number, tag = unit.ready_circuit()
    pages = addresses(create_app(services=unit.services), number)
    assert len(pages) > 15, sorted(pages)
    with person(chromium, base, seen) as one:
        one.signs_in("S. Berg")
        one.opens("/take")
        one.scans(tag)
        one.reads("R-0001")
        for name, address in {
            **pages,
            "lists.sheet_page of a type": f"/sheets/edit?circuit_type={TYPE}",
            "recall.ask found": "/recall?lot=PK26-104",
        }.items():
            one.opens(address)
            one.looks(name.replace(".", "-"))
            assert one.page.locator("h1").count() == 1, f"{name}: one heading says where one is"
            assert one.troubles == [], name
        one.opens("/no-such-page")
        one.reads("There is no such page.")
        one.looks("error")
