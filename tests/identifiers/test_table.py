"""Our table of GS1 identifiers against the dictionary's own facts, read by another parser here."""

import re
from pathlib import Path

import pytest

from traceability.identifiers.gs1_table import IDENTIFIER_LENGTH, TABLE, Part

FACTS = Path(__file__).parents[1] / "data/identifiers/gs1_dictionary_facts.txt"

SETS = {"N": "digits", "X": "text", "Y": "part-number", "Z": "base64url"}
CHECKS = {
    "csum": "check-digit", "csumalpha": "check-pair", "gcppos1": "company-prefix",
    "gcppos2": "company-prefix-second", "yymmd0": "date-or-month", "yymmdd": "date",
    "yyyymmdd": "long-date", "hhmi": "clock", "hh": "hour", "mi": "minute", "ss": "second",
    "iso4217": "currency", "iso3166": "country", "iso3166999": "country-or-999",
    "iso3166alpha2": "country-letters", "pcenc": "percent-coded", "yesno": "yes-no",
    "hyphen": "minus-sign", "importeridx": "importer-index", "packagetype": "package-type",
    "mediatype": "media-type", "iso5218": "sex", "posinseqslash": "place-of-total",
    "nonzero": "not-zero", "winding": "winding", "zero": "zero", "pieceoftotal": "piece-of-total",
    "iban": "iban", "nozeroprefix": "no-leading-zero", "hasnondigit": "has-letter",
    "latitude": "latitude", "longitude": "longitude", "couponcode": "coupon",
    "couponposoffer": "coupon-offer",
}  # fmt: skip


def _entries() -> dict[str, list[str]]:
    found = {}
    for line in FACTS.read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            names, *rest = line.split()
            first, _, last = names.partition("-")
            for number in range(int(first), int(last or first) + 1):
                found[f"{number:0{len(first)}}"] = rest
    return found


ENTRIES = _entries()


def _parts(facts: list[str]) -> list[Part]:
    found = []
    for fact in facts:
        match = re.fullmatch(r"(\[?)([NXYZ])(\.\.)?(\d+)\]?((?:,\w+)*)", fact)
        if match:
            optional, kind, upto, size, linters = match.groups()
            found.append(
                Part(
                    characters=SETS[kind],
                    least=1 if upto else int(size),
                    most=int(size),
                    optional=bool(optional),
                    checks=tuple(CHECKS[name] for name in linters.split(",") if name),
                )
            )
    return found


def _fits(pattern: str, name: str) -> bool:
    return re.fullmatch(pattern.replace("n", r"\d"), name) is not None


def test_the_table_has_the_dictionary_s_identifiers_and_no_other() -> None:
    assert set(TABLE) == set(ENTRIES)


def test_parts_flags_and_lengths_are_the_dictionary_s() -> None:
    for name, facts in ENTRIES.items():
        flags = facts[0] if re.fullmatch(r"[*?]+", facts[0]) else ""
        parts = _parts(facts)
        assert list(TABLE[name].parts) == parts, name
        assert bool(TABLE[name].fixed) == ("*" in flags), name
        assert TABLE[name].fixed in (0, sum(part.most for part in parts)), name
        assert TABLE[name].link_attribute == ("?" in flags), name


def test_partners_are_the_dictionary_s() -> None:
    for name, facts in ENTRIES.items():
        never = {
            other
            for fact in facts
            if fact.startswith("ex=")
            for pattern in fact[3:].split(",")
            for other in ENTRIES
            if _fits(pattern, other) and other != name
        }
        assert TABLE[name].never_with == never, name
        demands = [fact[4:].split(",") for fact in facts if fact.startswith("req=")]
        assert len(TABLE[name].needs) == len(demands), name
        for (single, groups), alternatives in zip(TABLE[name].needs, demands, strict=True):
            plain = [a for a in alternatives if "+" not in a]
            assert single == {o for o in ENTRIES if any(_fits(p, o) for p in plain)}, name
            joined = {frozenset(a.split("+")) for a in alternatives if "+" in a}
            assert set(groups) == joined, name


def test_digital_link_keys_and_their_qualifiers_are_the_dictionary_s() -> None:
    for name, facts in ENTRIES.items():
        keys = [fact for fact in facts if fact.startswith("dlpkey")]
        runs = None
        if keys:
            written = keys[0].partition("=")[2]
            runs = tuple(tuple(run.split(",")) if run else () for run in written.split("|"))
        assert TABLE[name].qualifiers == runs, name


@pytest.mark.parametrize("name", sorted(TABLE))
def test_two_digits_tell_how_long_an_identifier_is(name: str) -> None:
    assert IDENTIFIER_LENGTH[name[:2]] == len(name)
    assert TABLE[name].title
