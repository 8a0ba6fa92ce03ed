"""How long the demo takes to make: 30 s are allowed on two cores that have nothing else to do."""

import json
from pathlib import Path

import pytest


@pytest.mark.bench
def test_the_demo_is_made_within_thirty_seconds(demo_folder: Path) -> None:
    plan = json.loads((demo_folder / "plan.json").read_text(encoding="utf-8"))
    print(f"made in {plan['wall_s']:.1f} s, {plan['processor_s']:.1f} s of them on the processor")
    assert plan["wall_s"] <= 30
