"""What a camera or a telephone sends that is no picture of packs: a sentence, nothing kept."""

import io
from uuid import uuid4

import pytest
from flask.testing import FlaskClient
from PIL import Image
from sqlalchemy import func, select

from app import LARGEST_BODY, create_app
from tests.actions.test_scan_checks import lots, names
from tests.browser.laid_out import Pack, jpeg, matrix, photo
from tests.make import PACK, PIN, TAP, TYPE, Ward, code
from traceability.domain.tags import badge_symbol
from traceability.storage.ledger import LedgerEvent

WRISTBAND = "8018952123400000000017"
"""GSRN under 952, GS1's prefix for demonstrations, with its check digit."""


@pytest.fixture
def client(ward: Ward) -> FlaskClient:
    """Return a browser with a signed-in primer and a prime C-0001 begun."""
    client = create_app(services=ward.services).test_client()
    client.get("/sign-in")
    client.post("/sign-in", data={"badge": "PRIMER1", "pin": PIN, "request_id": str(uuid4())})
    begun = {
        "circuit_type": TYPE,
        "place_id": str(ward.places["console 3"]),
        "request_id": str(uuid4()),
    }
    assert client.post("/prime", data=begun).headers["Location"].endswith("/prime/C-0001")
    return client


def sent(client: FlaskClient, data: bytes, path: str = "photo") -> tuple[int, dict[str, object]]:
    answer = client.post(
        f"/prime/C-0001/{path}",
        data=data,
        content_type="image/jpeg",
        headers={"Accept": "application/json"},
    )
    return answer.status_code, answer.get_json()


def events(ward: Ward) -> int:
    with ward.services.reads() as reads:
        return reads.scalar(select(func.count()).select_from(LedgerEvent)) or 0


def test_what_is_no_photo_is_said_and_the_next_one_is_read(client: FlaskClient, ward: Ward) -> None:
    good = jpeg(photo([matrix(code(TAP, "T77"))], size=(900, 600)))
    before = events(ward)
    for data, says in (
        (b"", "The file is empty."),
        (b"no picture at all", "This is no photo"),
        (b"%PDF-1.7\n" + bytes(100), "This is no photo"),
        (good[: len(good) // 3], "damaged or came only in part"),
    ):
        status, answer = sent(client, data)
        assert (status, says in str(answer["sentence"])) == (422, True), answer
        assert sent(client, data, "camera")[0] == 422
    status, answer = sent(client, bytes(LARGEST_BODY + 1))
    assert (status, answer["refused"]) == (413, True)
    status, answer = sent(client, good)
    assert (status, answer["fills"]) == (200, 1)
    assert events(ward) == before


def test_fifty_megapixels_no_code_at_all_and_persons_codes(client: FlaskClient) -> None:
    small = photo([matrix(code(TAP, "T77"))], size=(1200, 900), columns=1)
    status, answer = sent(client, jpeg(small.resize((8160, 6120))))
    assert (status, answer["fills"]) == (200, 1)
    packs = answer["packs"]
    assert isinstance(packs, list)
    (box,) = packs[0]["boxes"]  # in dots of the picture that was sent
    assert all(3500 < x < 4700 and 2500 < y < 3700 for x, y in box["corners"])

    status, answer = sent(client, jpeg(photo([], size=(900, 600))))
    assert (status, answer["packs"], answer["fills"]) == (200, [], 0)
    assert str(answer["sentence"]).startswith("No code was read")

    table = [
        Pack(symbols=(("gs1-datamatrix", WRISTBAND),), words="band"),
        Pack(symbols=(("datamatrix", badge_symbol("LIND7K")),), words="badge"),
        matrix(code(PACK, "PK1")),
    ]
    data = jpeg(photo(table, size=(1280, 720), columns=3))
    for path in ("photo", "camera"):
        status, answer = sent(client, data, path)
        assert status == 200
        assert isinstance(answer["packs"], list)
        assert len(answer["packs"]) == 3
        assert WRISTBAND not in str(answer)


def test_a_photo_says_of_a_notice_what_a_scan_would_say(client: FlaskClient, ward: Ward) -> None:
    names(ward, lots("T77-0B1"))
    table = [matrix(code(TAP, "T77-0B1")), matrix(code(TAP, "T80"))]
    status, answer = sent(client, jpeg(photo(table, size=(1280, 720), columns=2)))
    assert (status, answer["fills"]) == (200, 1), "the lot that is named does not go in by itself"
    scan = {"text": code(TAP, "T77-0B1"), "request_id": str(uuid4()), "at": ward.now.isoformat()}
    told = client.post("/prime/C-0001/scan", json=scan).get_json()
    assert told["verdict"] == "stop"
    assert told["sentence"].casefold() in str(answer["packs"]).casefold()


def test_an_ended_prime_a_stranger_and_a_picture_that_is_not_to_be_kept_get_a_sentence(
    client: FlaskClient, ward: Ward
) -> None:
    good = jpeg(photo([matrix(code(TAP, "T77"))], size=(900, 600)))
    stranger = create_app(services=ward.services).test_client()
    assert sent(stranger, good)[0] in {401, 403}
    assert sent(stranger, good, "camera")[0] in {401, 403}
    ended = {
        "request_id": str(uuid4()),
        "fill_ml": "1500",
        "way": "wet-closed",
        "lots_not_recorded": "1",
    }
    client.post("/prime/C-0001/end", data=ended)
    status, answer = sent(client, good)
    assert status == 422
    assert "C-0001 is primed. Nothing can be filled in" in str(answer["sentence"])

    out = io.BytesIO()
    Image.new("RGB", (40, 30)).save(out, "JPEG")
    kept = client.post(
        f"/prime/C-0001/photo/keep?request_id={uuid4()}",
        data=out.getvalue(),
        headers={"Accept": "application/json"},
    )
    assert (kept.status_code, kept.get_json()["code"]) == (422, "pictures-not-kept")
    assert not (ward.services.settings.var_dir / "pictures").exists()
    assert client.get("/circuits/C-0001/pictures").status_code == 200
    nowhere = client.post("/prime/C-9999/photo", data=b"x", headers={"Accept": "application/json"})
    assert nowhere.status_code == 404
