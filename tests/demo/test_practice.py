"""The demo for practice is marked as such: it is what most people will practise on."""

from pathlib import Path

from demo_data.setting_up import set_up
from demo_data.stage import Stage
from tests.make import NOON
from traceability.domain.tags import is_practice
from traceability.reads.lists import site_facts
from traceability.settings import Settings
from traceability.storage.migrate import upgrade
from traceability.wiring import wire


def test_the_demo_in_a_practice_store_is_marked(tmp_path: Path) -> None:
    for practice in (False, True):
        settings = Settings(var_dir=tmp_path, practice=practice)
        upgrade(settings.store_url)
        services = wire(settings)
        set_up(Stage(begins=NOON, seed=7), services, {})
        with services.reads() as reads:
            site = site_facts(reads)
        services.close()
        assert (site.practice, is_practice(site.code)) == (practice, practice)
