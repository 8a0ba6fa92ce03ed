"""Read what a tag says of itself: the text of its second symbol, scanned or pasted."""

from flask import Blueprint, render_template, request
from flask.typing import ResponseReturnValue

from traceability.domain.tags import LONGEST
from traceability.reads.tag_texts import TagTextFacts, tag_text_facts
from traceability.security.tag_keys import tag_public
from traceability.tag_messages import NOT_WHOLE, say_listed, say_tag_text
from traceability.web import session

pages = Blueprint("tag_text", __name__)


@pages.get("/tag-text")
def page() -> ResponseReturnValue:
    """Ask for a text."""
    session.need_device()
    return render_template("tag_text.html", text="", found=None, sentence="", nav="take")


@pages.post("/tag-text")
def read() -> ResponseReturnValue:
    """Say who made the tag and what it lists. Nothing is recorded."""
    session.need_device()
    text = request.form.get("text", "")
    found = stated_by(text)
    return render_template(
        "tag_text.html",
        text=text[: LONGEST + 1] if found else text[:200],
        found=found,
        sentence=say_tag_text(found) if found else NOT_WHOLE,
        listed=say_listed(found) if found else "",
        nav="take",
    ), 200 if found else 422


def stated_by(text: str) -> TagTextFacts | None:
    """Return what a text of a tag says, verified with the keys that are known here."""
    ours = session.services()
    with ours.reads() as reads:
        return tag_text_facts(reads, ours.site.id, text, own_key=tag_public(ours.keys))
