"""How a command ends: 0 done, 1 refused, 2 wrong usage, 3 not available.

The one place that turns refusals and failures into a sentence on stderr and an exit code.
"""

from typing import IO, Final

import click

from traceability.errors import Busy, NotSetUp, Refused, StoreAway, StoreFull
from traceability.messages import say_refusal
from traceability.settings import WrongSetting, read_settings

LATER: Final = (Busy, StoreAway, StoreFull, NotSetUp)
"""Refusals that say nothing against the act: the store cannot take it now."""


class NotDone(click.ClickException):
    """Ends the command with a sentence: understood and not done."""

    exit_code = 1

    def show(self, file: IO[str] | None = None) -> None:
        """Write the sentence to stderr, without a prefix: it is one for people."""
        click.echo(self.message, file=file, err=True)


class WrongUsage(NotDone):
    """A value given on the command line or in the environment cannot be read."""

    exit_code = 2


class NotAvailable(NotDone):
    """The store, a port or a file cannot be had now."""

    exit_code = 3


def ended_by(failure: Exception) -> NotDone | None:
    """Return how a command ends that met this; None for a fault of the program itself."""
    match failure:
        case Refused():
            end = NotAvailable if isinstance(failure, LATER) else NotDone
            return end(say_refusal(failure, read_settings().zone_info))
        case WrongSetting():
            return WrongUsage(str(failure))
    return None
