"""The demo, made once for all test processes: it takes a while."""

import fcntl
import json
import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from demo_data.make_demo import fill
from traceability.settings import Settings
from traceability.storage.migrate import upgrade
from traceability.wiring import Services, wire


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder with the demo's store, its keys, and what the plan says, as JSON."""
    base = tmp_path_factory.getbasetemp()
    # Test processes have folders side by side.
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    folder = shared / "demo"
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (folder / "plan.json").exists():
            _make(folder)
    return folder


def _make(folder: Path) -> None:
    folder.mkdir()
    settings = Settings(var_dir=folder)
    upgrade(settings.store_url)
    services = wire(settings)
    told: list[tuple[int, int]] = []
    wall, processor = time.perf_counter(), time.process_time()
    plan = fill(services, progress=lambda done, of: told.append((done, of)))
    plan_text = json.dumps(
        {
            "ends": services.now().isoformat(),
            "wall_s": time.perf_counter() - wall,
            "processor_s": time.process_time() - processor,
            "told": [told[0], told[-1]],
            "in_order": told == sorted(told),
            "primes": plan.primes,
            "runs": plan.runs,
            "acts": {str(what): number for what, number in plan.acts.items()},
            "tap_lots": {lot: sorted(numbers) for lot, numbers in plan.tap_lots.items()},
        }
    )
    services.close()
    (folder / "plan.json").write_text(plan_text, encoding="utf-8")


@pytest.fixture
def services(demo_folder: Path) -> Iterator[Services]:
    """The demo's store, to be read."""
    wired = wire(Settings(var_dir=demo_folder))
    yield wired
    wired.close()
