"""Docs and code say the same: commands, settings, links, refusals."""

import re
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import click
import pytest

from traceability import errors
from traceability.cli.main import cli
from traceability.messages import WAYS_ON, say_refusal
from traceability.settings import PREFIX, Settings

TOP: Final = Path(__file__).parents[2]
PAGES: Final = sorted([*TOP.glob("*.md"), *TOP.glob("docs/**/*.md")])


def _commands(
    group: click.Group, words: tuple[str, ...] = ()
) -> Iterator[tuple[str, click.Command]]:
    """Yield all commands that people are meant to use, with what they type."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if command.hidden:
            continue
        if isinstance(command, click.Group):
            yield from _commands(command, (*words, name))
        else:
            yield " ".join((*words, name)), command


COMMANDS: Final = dict(_commands(cli))


@pytest.mark.parametrize("words", COMMANDS)
def test_every_command_has_help_for_itself_and_each_option(words: str) -> None:
    command = COMMANDS[words]
    assert command.help
    nameless = [
        option.name
        for option in command.params
        if isinstance(option, click.Option) and not option.help
    ]
    assert nameless == []


@pytest.mark.parametrize("words", COMMANDS)
def test_every_command_has_an_example_that_it_understands(words: str) -> None:
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    row = re.search(rf"^\| `{words}` \| `python -m traceability {words}(.*?)` \|$", text, re.M)
    assert row, "it has no line in DEVELOPERS.md"
    told = [part.strip('"') for part in re.findall(r'"[^"]*"|\S+', row[1].split("<")[0])]
    command = COMMANDS[words]
    command.make_context(words, told)  # raises UsageError for an option or argument unknown to it


def test_no_example_is_of_a_command_that_is_gone() -> None:
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8").partition("<!-- commands -->")[2]
    assert set(re.findall(r"^\| `([a-z -]+)` \|", text, re.M)) == set(COMMANDS)


def test_every_setting_stands_in_the_administrators_page_with_its_default() -> None:
    text = (TOP / "docs" / "administrator.md").read_text(encoding="utf-8")
    told = dict(re.findall(rf"^\| `({PREFIX}[A-Z_]+)` \| `?([^`|]*?)`? \|", text, re.M))
    real = {}
    for field in fields(Settings):
        default = int(field.default) if isinstance(field.default, bool) else field.default
        real[PREFIX + field.name.upper()] = str(default) or "empty"
    assert told == real


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    targets = re.findall(r"\]\(([^)#\s]+)", text)
    here = [target for target in targets if "://" not in target]
    assert [target for target in here if not (page.parent / target).exists()] == []


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_files_named_in_docs_exist(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    named = re.findall(
        r"`((?:traceability|tests|migrations|labels|docs|domain|storage|actions)/[\w./-]*)`", text
    )
    roots = (TOP, TOP / "traceability")
    gone = [name for name in named if not any((root / name).exists() for root in roots)]
    assert gone == []


def _refusals(of: type[errors.Refused] = errors.Refused) -> list[type[errors.Refused]]:
    return [kind for each in of.__subclasses__() for kind in (each, *_refusals(each))]


@pytest.mark.parametrize("refused", _refusals(), ids=lambda kind: kind.code)
def test_every_refusal_has_a_sentence_made_of_its_documented_facts(
    refused: type[errors.Refused],
) -> None:
    documented = re.findall(r"`(\w+)`", (refused.__doc__ or "").partition("Facts:")[2])
    sentence = say_refusal(refused(**dict.fromkeys(documented, 7)), ZoneInfo("Europe/Stockholm"))
    assert len(sentence) > 15
    assert sentence[0].isupper() or sentence[0].isdigit()
    assert sentence.endswith((".", ")"))
    assert "None" not in sentence
    assert refused.way_on in {"", *WAYS_ON}


def test_codes_of_refusals_are_each_ones_own() -> None:
    codes = [refused.code for refused in _refusals()]
    assert len(codes) == len(set(codes))
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", code) for code in codes)
