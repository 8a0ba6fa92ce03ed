"""What an automated checker says of a page: axe-core's rules for WCAG 2.0 to 2.2, A and AA.

It finds perhaps half of what can be wrong (by its own makers' account, from memory) and leaves some
contrasts undecided; those are computed in `tests/web/test_contrast.py`.
"""

from functools import cache
from pathlib import Path
from typing import Final

from playwright.sync_api import Page

SCRIPT: Final = Path(__file__).parents[1] / "page_tools/node_modules/axe-core/axe.min.js"
LEVELS: Final = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
"""Tags of the rules; success criteria of WCAG 2.2 stand behind each."""

RUN: Final = """
async ([light, tags, rules]) => {
  const before = document.documentElement.dataset.light;
  document.documentElement.dataset.light = light;
  const runOnly = rules ? { type: "rule", values: rules } : { type: "tag", values: tags };
  const found = await axe.run(document, { runOnly, resultTypes: ["violations"] });
  if (before === undefined) delete document.documentElement.dataset.light;
  else document.documentElement.dataset.light = before;
  return found.violations.map(({ id, help, nodes }) =>
    `${id}: ${help}: ${nodes.slice(0, 3).map(({ html }) => html.slice(0, 160)).join(" | ")}`);
}
"""

FLUSH: Final = "() => new Promise((done) => setTimeout(done, 30))"
"""What the browser says of styles that the checker sets and takes back comes a little later."""


@cache
def script() -> str:
    """Return the checker's source."""
    assert SCRIPT.exists(), "the tests need axe-core once: make tools"
    return SCRIPT.read_text(encoding="utf-8")


def violations(page: Page, *, night: bool = True) -> list[str]:
    """Return what is wrong with the page as it stands, by day and, for contrasts, by night."""
    if not page.evaluate("'axe' in window"):
        page.evaluate(script())
    found = [f"day: {each}" for each in page.evaluate(RUN, ["day", LEVELS, None])]
    if night:
        contrast = page.evaluate(RUN, ["night", LEVELS, ["color-contrast"]])
        found += [f"night: {each}" for each in contrast]
    page.evaluate(FLUSH)
    return found
