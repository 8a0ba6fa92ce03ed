"""Scans wait on the device until they are answered: in order, whatever fails on the way."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

import pytest
from flask import Flask, Response, jsonify, request
from playwright.sync_api import Browser, BrowserContext, Page

PAGE = """<!doctype html><html lang="en"><title>t</title><main></main>
<script type="module" src="/page.js"></script>"""
SCRIPT = """import { Queue } from "/static/queue.js";
window.answers = []; window.states = []; window.dropped = [];
window.queue = new Queue({
  answered: (entry, answer) => window.answers.push([entry.body.request_id, answer]),
  kept: (count, why, lost) => window.states.push([count, why, lost]),
  dropped: (entry) => window.dropped.push(entry.body.request_id),
});
window.put = (...ids) => {
  for (const id of ids) window.queue.put("/prime/C-1/scan", { request_id: id });
};
window.queue.send();
window.ready = true;"""


@dataclass
class Answerer:
    """A server that answers as it is told."""

    heard: list[str] = field(default_factory=list)
    status: list[int] = field(default_factory=list)
    """Status of the next answers; 200 once it is used up."""
    others: int = 0
    """How many requests somebody else answers first: a sign-in page of the network, say."""

    def answer(self) -> tuple[Response, int]:
        if self.others:
            self.others -= 1
            return Response("<!doctype html>Accept the terms of this network"), 200
        asked = request.get_json()["request_id"]
        status = self.status.pop(0) if self.status else 200
        self.heard.append(asked)
        return jsonify(answered=asked), status


@pytest.fixture
def server() -> Answerer:
    return Answerer()


@pytest.fixture
def address(server: Answerer, served: Callable[[Any], str]) -> str:
    app = Flask(__name__, static_folder=str(files("traceability") / "web/static"))
    app.add_url_rule("/", view_func=lambda: PAGE)
    script = ("page", lambda: (SCRIPT, {"Content-Type": "text/javascript"}))
    app.add_url_rule("/page.js", *script)
    app.add_url_rule("/prime/C-1/scan", "scan", server.answer, methods=["POST"])
    return served(app)


@pytest.fixture
def context(chromium: Browser) -> Iterator[BrowserContext]:
    made = chromium.new_context()
    yield made
    made.close()


@pytest.fixture
def page(context: BrowserContext, address: str) -> Page:
    return opened(context.new_page(), address)


def opened(page: Page, address: str) -> Page:
    page.goto(address)
    page.wait_for_function("window.ready === true")
    return page


def answered(page: Page, count: int) -> list[str]:
    page.wait_for_function(f"window.answers.length >= {count}", timeout=20_000)
    return [each[0] for each in page.evaluate("window.answers")]


def test_without_a_network_scans_wait_and_then_go_in_order(
    page: Page, context: BrowserContext, server: Answerer
) -> None:
    context.set_offline(True)
    page.evaluate("put('a', 'b', 'c')")
    page.wait_for_function("window.states.some(([count, why]) => count === 3 && why === 'network')")
    context.set_offline(False)
    assert answered(page, 3) == ["a", "b", "c"]
    assert server.heard == ["a", "b", "c"]
    page.wait_for_function("window.states.at(-1)[0] === 0")
    assert kept(page) == []


def kept(page: Page) -> list[str]:
    """Return the ids of what lies in the device's own store."""
    found: list[str] = page.evaluate(
        """async () => {
          const { keptActs } = await import("/static/device_store.js");
          return (await keptActs()).map(({ body }) => body.request_id);
        }"""
    )
    return found


def test_what_an_older_page_kept_is_moved_into_the_store_and_sent_first(
    page: Page, context: BrowserContext, server: Answerer, address: str
) -> None:
    context.set_offline(True)
    page.evaluate(
        """() => localStorage.setItem("ct.queue", JSON.stringify(["a", "b"].map(
             (id) => ({ url: "/prime/C-1/scan", body: { request_id: id } }))))"""
    )
    page.close()
    context.set_offline(False)
    server.status = [503, 200, 200, 200]
    fresh = opened(context.new_page(), address)
    fresh.evaluate("put('c')")
    fresh.wait_for_function("window.states.some(([, why]) => why === 'busy')")
    assert fresh.evaluate("localStorage.getItem('ct.queue')") is None
    assert answered(fresh, 3) == ["a", "b", "c"]
    assert server.heard == ["a", "a", "b", "c"]
    assert kept(fresh) == []


def test_what_names_a_person_is_sent_at_once_or_not_at_all(
    page: Page, context: BrowserContext, server: Answerer
) -> None:
    context.set_offline(True)
    page.evaluate("put('a'); window.queue.put('/prime/C-1/scan', { request_id: 'p' }, 'now')")
    page.evaluate("window.queue.put('/prime/C-1/scan', { request_id: 'm' }, 'page')")
    page.wait_for_function("window.dropped.length === 1 && window.states.at(-1)?.[0] === 2")
    assert page.evaluate("[window.dropped[0], window.states.at(-1)[2]]") == ["p", 1]
    assert kept(page) == ["a"]
    page.evaluate(
        """() => {
          const put = (id, more) =>
            window.queue.put("/prime/C-1/scan", { request_id: id, ...more });
          put("w", { text: "]d28018952123450000001234", channel: "camera" });
          put("x", { text: "480731-0017" });
          put("y", { text: "]d2010952123400001310T1" });
        }"""
    )
    page.wait_for_function("window.dropped.length === 2 && window.states.at(-1)[0] === 4")
    assert kept(page) == ["a", "y"], "wherever a person's code comes from, it is not stored"
    context.set_offline(False)
    assert answered(page, 4) == ["a", "m", "x", "y"]
    page.evaluate("window.queue.put('/prime/C-1/scan', { request_id: 'q' }, 'now')")
    assert answered(page, 5)[-1] == "q"
    assert server.heard == ["a", "m", "x", "y", "q"]


def test_a_reload_loses_nothing_and_keeps_the_ids(
    page: Page, context: BrowserContext, server: Answerer, address: str
) -> None:
    context.set_offline(True)
    page.evaluate("put('a', 'b')")
    page.wait_for_function("window.states.some(([count]) => count === 2)")
    page.close()
    context.set_offline(False)
    assert answered(opened(context.new_page(), address), 2) == ["a", "b"]
    assert server.heard == ["a", "b"]


def test_a_busy_server_is_asked_again_with_the_same_id_and_nothing_overtakes(
    page: Page, server: Answerer
) -> None:
    server.status = [503, 502]
    page.evaluate("put('a', 'b')")
    assert answered(page, 2) == ["a", "b"]
    assert server.heard == ["a", "a", "a", "b"]


def test_somebody_signed_out_keeps_the_scans_until_somebody_signs_in(
    page: Page, context: BrowserContext, server: Answerer, address: str
) -> None:
    server.status = [401]
    page.evaluate("put('a', 'b')")
    page.wait_for_function("window.states.at(-1)?.[1] === 'sign-in'")
    assert server.heard == ["a"]
    assert answered(opened(context.new_page(), address), 2) == ["a", "b"]


def test_a_fault_of_the_server_is_told_after_three_tries_and_stops_no_other_scan(
    page: Page, server: Answerer
) -> None:
    server.status = [500, 500, 500]
    page.evaluate("put('a', 'b')")
    assert answered(page, 2) == ["a", "b"]
    assert server.heard == ["a", "a", "a", "b"]


def test_what_somebody_else_answers_is_no_answer_and_the_scans_wait(
    page: Page, server: Answerer
) -> None:
    server.others = 4
    page.evaluate("put('a', 'b')")
    page.wait_for_function("window.states.some(([count, why]) => count === 2 && why === 'network')")
    assert answered(page, 2) == ["a", "b"]
    assert server.heard == ["a", "b"]
    assert page.evaluate("window.answers.every(([id, answer]) => answer.answered === id)")


def test_where_nothing_can_be_stored_scans_wait_on_the_page_and_it_says_so(
    page: Page, context: BrowserContext, server: Answerer
) -> None:
    page.evaluate(
        """() => { IDBObjectStore.prototype.put = () => {
             throw new DOMException("full", "QuotaExceededError"); }; }"""
    )
    context.set_offline(True)
    page.evaluate("put('a', 'b')")
    page.wait_for_function("window.states.at(-1)?.[2] === 2")
    context.set_offline(False)
    assert answered(page, 2) == ["a", "b"]
    assert server.heard == ["a", "b"]


def test_a_store_that_is_emptied_under_the_page_loses_nothing_while_it_stays_open(
    page: Page, context: BrowserContext, server: Answerer
) -> None:
    context.set_offline(True)
    page.evaluate("put('a', 'b')")
    page.wait_for_function("window.states.at(-1)?.[0] === 2 && window.states.at(-1)[2] === 0")
    page.evaluate(
        """() => new Promise((done) => {
             const gone = indexedDB.deleteDatabase("ct");
             gone.onsuccess = done; })"""
    )
    page.evaluate("put('c')")
    page.wait_for_function("window.states.some(([count, , lost]) => count === 3 && lost === 2)")
    context.set_offline(False)
    assert answered(page, 3) == ["a", "b", "c"]
    assert server.heard == ["a", "b", "c"]


def test_two_windows_keep_the_order_and_what_one_sends_again_is_the_same_request(
    page: Page, context: BrowserContext, server: Answerer, address: str
) -> None:
    other = opened(context.new_page(), address)
    context.set_offline(True)
    page.evaluate("put('a', 'b', 'c')")
    page.wait_for_function("window.states.some(([count]) => count === 3)")
    context.set_offline(False)
    other.evaluate("window.queue.send()")
    page.evaluate("window.queue.send()")
    page.wait_for_function("window.states.at(-1)[0] === 0", timeout=20_000)
    other.wait_for_function("window.states.at(-1)[0] === 0", timeout=20_000)
    assert kept(page) == []
    # A browser may tell one window late of what the other stored.
    assert list(dict.fromkeys(server.heard)) == ["a", "b", "c"]
