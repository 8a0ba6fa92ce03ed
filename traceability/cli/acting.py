"""What commands that act have in common: who sends, and finding what a person at a prompt names."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol, TypeVar
from uuid import UUID

import click

from traceability.actions.once import Sent
from traceability.errors import UnknownCode
from traceability.security.roles import service_device
from traceability.wiring import Services


class Named(Protocol):
    """Something with an id and a name."""

    @property
    def id(self) -> UUID:
        """The id."""
        ...

    @property
    def name(self) -> str:
        """The name."""
        ...


N = TypeVar("N", bound=Named)


def sent_by_command(services: Services) -> Sent:
    """Return the sender of an act from the command line: the service itself, nobody signed in.

    Who may start commands on this machine is for its operating system to say.
    """
    site = services.site
    request_id = site.new_id(services.clock())
    return Sent(device_id=service_device(site.id), actor_id=None, request_id=request_id)


def the_one(what: str, named: str, among: Iterable[N]) -> N:
    """Return the one that is named: by its id, the beginning of its id, or its whole name.

    Raises:
        UnknownCode: none is, or more than one.
    """
    fits = [
        each
        for each in among
        if each.name.casefold() == named.casefold() or str(each.id).startswith(named.lower())
    ]
    if len(fits) != 1:
        raise UnknownCode(what=what, value=named)
    return fits[0]


def show(rows: Sequence[Mapping[str, object]], *, as_json: bool) -> None:
    """Print rows: one JSON object a line for machines, else columns for people."""
    if as_json:
        for row in rows:
            click.echo(json.dumps(row, default=str))
        return
    texts = [[str(value) for value in row.values()] for row in rows]
    widths = [max(map(len, column)) for column in zip(*texts, strict=True)]
    for line in texts:
        click.echo(
            "  ".join(f"{text:<{width}}" for text, width in zip(line, widths, strict=True)).rstrip()
        )
