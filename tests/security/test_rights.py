"""Who may do what: every act names one right, and it is checked in one place.

Source of the roles: common practice, no source; settled in review with people of the trade.
"""

import importlib
import pkgutil
import sys
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest

import traceability.actions
from tests.make import ROLES, Ward, opened_ward
from traceability.actions.once import Asked
from traceability.domain.people import EVERYONE, RIGHTS, Right, Role, rights_of
from traceability.errors import NotAllowed
from traceability.security.roles import require


def all_acts() -> list[type[Asked]]:
    """Return every act there is, whichever module it stands in."""
    for module in pkgutil.walk_packages(traceability.actions.__path__, "traceability.actions."):
        importlib.import_module(module.name)
    found, look_at = [], [Asked]
    while look_at:
        below = look_at.pop().__subclasses__()
        found += below
        look_at += below
    # A slotted dataclass leaves its unslotted draft behind: only what its module holds is real.
    return [act for act in found if getattr(sys.modules[act.__module__], act.__name__) is act]


@pytest.fixture
def ward(tmp_path: Path) -> Iterator[Ward]:
    url = f"sqlite:///{tmp_path / 'test.db'}"
    from traceability.settings import Settings  # noqa: PLC0415 - only to make the tables
    from traceability.wiring import wire  # noqa: PLC0415

    made = wire(Settings(database_url=url, var_dir=tmp_path))
    made.create_tables()
    made.close()
    with opened_ward(url, tmp_path / "var") as ward:
        yield ward


def test_every_act_names_its_right_and_a_kind_of_its_own() -> None:
    acts = all_acts()
    assert len(acts) > 25
    assert len({act.kind for act in acts}) == len(acts)
    assert all(act.right is None or act.right in set(Right) for act in acts)


def test_only_what_an_emergency_needs_is_open_to_anyone() -> None:
    open_to_anyone = {act.kind for act in all_acts() if act.right is None}
    assert open_to_anyone == {
        "take-circuit",
        "take-back",
        "flow-on",
        "keep-act",  # writes down what waits for a person, and does nothing of it
    }


def test_the_whole_table_of_people_and_rights_holds_where_it_is_checked(ward: Ward) -> None:
    with ward.reads() as session:
        for (name, roles), right in product(ROLES.items(), Right):
            allowed = right in rights_of(Role(role) for role in roles)
            try:
                require(
                    session,
                    site_id=ward.site.id,
                    device_id=ward.device,
                    actor_id=ward.people[name],
                    right=right,
                )
                passed = True
            except NotAllowed:
                passed = False
            assert passed == allowed, (name, right)


def test_an_administrator_sees_no_patients_and_nobody_has_every_right() -> None:
    assert Right.SEE_PATIENTS not in rights_of([Role.ADMINISTRATOR])
    assert Right.SEE_PATIENTS not in rights_of([Role.AUDITOR])
    assert all(RIGHTS[role] | EVERYONE != frozenset(Right) for role in Role)
