"""Check digits: published values, an independent library, and what each scheme notices."""

import random
import string
from collections.abc import Callable

import pytest
from barcode.codex import PZN7  # type: ignore[import-untyped]
from reportlab.graphics.barcode.code39 import Standard39
from stdnum import ean, iban
from stdnum.iso7064 import mod_37_2

from tests.identifiers.strategies import TODAY
from traceability.identifiers.checks import (
    HIBC_ALPHABET,
    CheckMismatch,
    WrongCharacter,
    gs1_check,
    hibc_check,
    iso_7064_mod_37_2,
    require_check,
)
from traceability.identifiers.gs1_checks import CHECKS, SET_82_IN_ORDER, check_pair
from traceability.identifiers.ifa import ppn_check, pzn_check

HOW_MANY = 100_000
ALPHANUMERIC = string.digits + string.ascii_uppercase

PUBLISHED: list[tuple[Callable[[str], str], str, str]] = [
    (gs1_check, "37610425002123456", "9"),  # GS1 General Specifications 7.9.1, example (SSCC)
    (gs1_check, "629104150021", "3"),  # GS1, "How to calculate a check digit"; from memory
    (hibc_check, "+A123BJC5D6E71", "G"),  # ANSI/HIBC 2.6-2016, figures 1 and 2
    (iso_7064_mod_37_2, "G123498654321", "H"),  # UK Red Book (JPAC), annexe 2, table A2.2
    (check_pair, "1987654Ad4X4bL5ttr2310c", "2K"),  # GS1 General Specifications 7.9.5, example
    (pzn_check, "2758089", "9"),  # IFA 2024-01-26, PZN
    (ppn_check, "1103752864", "14"),  # IFA, PPN-Code Specification v2.01, example
]


@pytest.mark.parametrize(("check", "data", "expected"), PUBLISHED)
def test_the_published_value_comes_out(
    check: Callable[[str], str], data: str, expected: str
) -> None:
    assert check(data) == expected


def _chance() -> random.Random:
    return random.Random(4)  # noqa: S311 - the same values in every run, and no secrets


def _texts(alphabet: str, least: int, most: int) -> list[str]:
    chance = _chance()
    return [
        "".join(chance.choices(alphabet, k=chance.randint(least, most))) for _ in range(HOW_MANY)
    ]


def test_gs1_check_agrees_with_another_library() -> None:
    for text in _texts(string.digits, 7, 17):
        assert gs1_check(text) == ean.calc_check_digit(text)


def test_mod_37_2_agrees_with_another_library() -> None:
    for text in _texts(ALPHANUMERIC, 13, 13):
        assert iso_7064_mod_37_2(text) == mod_37_2.calc_check_digit(text)


def test_hibc_check_agrees_with_another_library() -> None:
    for text in _texts(HIBC_ALPHABET, 3, 40):
        other = Standard39(text, checksum=1)
        other.validate()  # type: ignore[no-untyped-call]
        other.encode()  # type: ignore[no-untyped-call]
        assert other.encoded == f"*{text}{hibc_check(text)}*"


def test_pzn_check_agrees_with_another_library_on_numbers_of_the_older_length() -> None:
    # The library weighs the six digits 2 to 7, which is the new rule behind a leading zero.
    for text in _texts(string.digits, 6, 6):
        code = object.__new__(PZN7)
        code.pzn = text
        expected = pzn_check("0" + text)
        if expected:
            assert str(code.calculate_checksum()) == expected
        else:
            with pytest.raises(Exception, match="10"):
                code.calculate_checksum()


def test_iban_agrees_with_another_library() -> None:
    chance = _chance()
    for _ in range(HOW_MANY // 10):
        text = "DE" + "".join(chance.choices(string.digits, k=20))
        assert (CHECKS["iban"](text, TODAY) is None) == iban.is_valid(text, check_country=False)


def _rate(check: Callable[[str], str], alphabet: str, length: int) -> float:
    """Return the share of single wrong characters that `check` notices, over 20,000 texts."""
    chance = _chance()
    noticed = 0
    for _ in range(20_000):
        right = "".join(chance.choices(alphabet, k=length))
        place = chance.randrange(length)
        other = chance.choice(alphabet.replace(right[place], ""))
        noticed += check(right[:place] + other + right[place + 1 :]) != check(right)
    return noticed / 20_000


SCHEMES: list[tuple[str, Callable[[str], str], str, int, float]] = [
    ("GS1 modulo 10", gs1_check, string.digits, 13, 1.0),
    ("HIBC modulo 43", hibc_check, HIBC_ALPHABET, 20, 1.0),
    ("ISO 7064 MOD 37-2", iso_7064_mod_37_2, ALPHANUMERIC, 13, 1.0),
    ("GS1 check pair", check_pair, SET_82_IN_ORDER, 23, 1.0),
    ("PZN modulo 11", pzn_check, string.digits, 7, 1.0),
    # 97 is prime, but characters 97 times their weight apart do not exist: all are noticed
    ("PPN modulo 97", ppn_check, ALPHANUMERIC, 18, 1.0),
]


@pytest.mark.parametrize(("name", "check", "alphabet", "length", "promised"), SCHEMES)
def test_a_single_wrong_character_is_noticed_at_the_promised_rate(
    name: str, check: Callable[[str], str], alphabet: str, length: int, promised: float
) -> None:
    rate = _rate(check, alphabet, length)
    print(f"{name}: {rate:.4%} of single wrong characters noticed")
    assert rate >= promised


@pytest.mark.parametrize("text", ["6291041500214", "0", ""])
def test_require_check_rejects_a_wrong_or_missing_check(text: str) -> None:
    with pytest.raises(CheckMismatch):
        require_check(text, gs1_check)


@pytest.mark.parametrize(("data", "position"), [("12a4", 2), ("١23", 0), ("12\x1d", 2)])
def test_a_wrong_character_says_where(data: str, position: int) -> None:
    with pytest.raises(WrongCharacter) as caught:
        gs1_check(data)
    assert caught.value.position == position
