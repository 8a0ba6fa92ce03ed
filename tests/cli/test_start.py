"""The real application, started as `make run` starts it."""

import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.test_serve import Serving, Ward, serve

__all__ = ["serve"]
TOP = Path(__file__).parents[2]


@pytest.fixture
def ward(tmp_path: Path) -> Ward:
    """A folder of its own for the store, and the project's own application."""
    return Ward(tmp_path, {"PYTHONPATH": str(TOP), "PATH": "/usr/bin:/bin"})


def test_a_second_start_answers_at_once(ward: Ward, serve: Callable[..., Serving]) -> None:
    assert ward.run("migrate")[0] == 0
    assert ward.run("site", "new", "Norrvik Sound Hospital", "--unit", "ICU", "--ring", "1")[0] == 0
    started = time.monotonic()
    serving = serve("--ready-made")
    with urllib.request.urlopen(f"{serving.address}/healthz", timeout=5) as answer:
        assert answer.status == 200
    took_s = time.monotonic() - started
    print(f"started and answered in {took_s:.1f} s")
    assert took_s < 15, "the demo of two years was made again"
