"""The retrieval check as a page answers it, and the take that follows; nothing stops it.

The three answers are those of `tests/domain/test_stock_and_deadlines.py`: common practice, no
source; settled in review with people of the trade.
"""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from flask.testing import FlaskClient

from app import create_app
from tests.make import HOUR, MINUTE, NOON, PIN, Ward
from tests.web.test_odd_input import set_clock
from traceability.reads.shelf import shelf


@pytest.fixture
def circuit(ward: Ward) -> UUID:
    """A signed circuit, its use-by 30 days after noon and some scans."""
    return ward.prime()


@pytest.fixture
def client(ward: Ward, circuit: UUID) -> FlaskClient:
    set_clock(ward, ward.now)
    client = create_app(services=ward.services).test_client()
    signs_in(client)
    assert ward.facts(circuit).number == "C-0001"
    return client


def signs_in(client: FlaskClient) -> None:
    client.get("/sign-in")
    client.post("/sign-in", data={"badge": "BEDSIDE1", "pin": PIN, "request_id": str(uuid4())})


def asked(client: FlaskClient, ward: Ward, circuit: UUID, before_use_by: timedelta) -> str:
    """Ask for a return so long before the use-by, out 24 h before that."""
    use_by = ward.facts(circuit).use_by
    assert use_by is not None
    out = (use_by - before_use_by - 24 * HOUR).replace(tzinfo=None)
    query = {"tag": "C-0001", "hours": "24", "out": f"{out:%Y-%m-%d %H:%M}+00:00"}
    return client.get("/retrieval", query_string=query).text


@pytest.mark.parametrize(
    ("before_use_by", "words"),
    [
        (9 * HOUR, "after your return."),
        (-MINUTE, "Use-by ends while you are away: "),
        (-12 * HOUR, "Use-by ends while you are away: "),
        (-25 * HOUR, "Use-by has passed: "),
    ],
)
def test_the_page_says_what_the_use_by_does_to_the_mission(
    client: FlaskClient, ward: Ward, circuit: UUID, before_use_by: timedelta, words: str
) -> None:
    assert words in asked(client, ward, circuit, before_use_by)


def test_nine_hours_to_spare_are_nine_hours(client: FlaskClient, ward: Ward, circuit: UUID) -> None:
    use_by = ward.facts(circuit).use_by
    assert use_by is not None
    # Seconds of the use-by are not on the form: 9 h and less than a minute are left.
    assert "Use-by is 9 h after your return." in asked(client, ward, circuit, 9 * HOUR)


@pytest.mark.parametrize("hours", ["0", "-3", "x", "400", "9" * 40])
def test_hours_that_cannot_be_are_told(client: FlaskClient, hours: str) -> None:
    answer = client.get("/retrieval", query_string={"tag": "C-0001", "hours": hours})
    assert answer.status_code == 422


def test_it_is_taken_whatever_speaks_against_it(
    client: FlaskClient, ward: Ward, circuit: UUID
) -> None:
    ward.at("consultant").hold("circuit", circuit)
    page = client.get("/retrieval", query_string={"tag": "C-0001", "hours": "6"}).text
    assert "On hold" in page
    assert "Take it to the mission" in page
    form = {"request_id": str(uuid4()), "hours": "6"}
    for _ in range(2):  # sent again, it is the same act
        sent = client.post("/retrieval/C-0001/take", data=form)
    assert sent.status_code in {302, 422}
    assert "Away with the retrieval team since" in client.get("/retrieval/C-0001").text
    facts = ward.facts(circuit)
    assert facts.away_since is not None
    assert [run.run for run in facts.runs] == ["R-0001"]
    with ward.reads() as reads:
        (away,) = shelf(reads, ward.site.id, ward.now).away
    assert away.away_since == facts.away_since
    again = client.post("/retrieval/C-0001/take", data={"request_id": str(uuid4())})
    assert again.status_code == 422


def test_flow_on_is_entered_on_return_with_its_own_time(
    client: FlaskClient, ward: Ward, circuit: UUID
) -> None:
    client.post("/retrieval/C-0001/take", data={"request_id": str(uuid4())})
    flow = ward.now + 4 * HOUR
    set_clock(ward, ward.now + 31 * HOUR)
    signs_in(client)
    data = {"request_id": str(uuid4()), "at": f"{flow:%Y-%m-%d %H:%M}+00:00"}
    assert client.post("/circuits/C-0001/flow-on", data=data).status_code == 302
    (run,) = ward.facts(circuit).runs
    assert run.flow_from == flow.replace(second=0)
    # An entry more than 24 h late is flagged (common practice, no source).
    assert "Entered more than 24 h later" in client.get("/circuits/C-0001").text
    assert ward.facts(circuit).away_since is None


def test_a_take_that_was_no_retrieval_is_not_away_with_the_team(ward: Ward, circuit: UUID) -> None:
    ward.take(circuit)
    assert ward.facts(circuit).away_since is None
    assert ward.now > NOON


def test_the_paper_is_for_the_team_and_names_no_patient(
    client: FlaskClient, ward: Ward, circuit: UUID
) -> None:
    from tests.printing.paper import text  # noqa: PLC0415 - needs poppler, this one test does

    done = ward.take(circuit)
    ward.at("bedside").patient(UUID(str(done.facts["run_id"])), "SOUND-2207")
    said = text(client.get("/circuits/C-0001/retrieval.pdf?hours=6").data)
    assert "T77-0B1" in said
    assert "Flow on, date and time" in said
    for nobody in ("SOUND-2207", "TEMP", "Primer A.", "R-0001"):
        assert nobody not in said
