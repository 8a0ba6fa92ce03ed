"""The `traceability` command: finds the command asked for and loads only its module.

A command that reads scans from a pipe starts in a fraction of a second, because it loads no
database, and `serve` keeps nothing of the others.
"""

from importlib import import_module
from typing import Final, cast

import click

from traceability import __version__
from traceability.cli.exits import ended_by

COMMANDS: Final = {
    "demo": "demo:demo",
    "device": "device:device",
    "drill": "drilling:drill",
    "identify": "identify:identify",
    "keys": "keys:keys",
    "labels": "labels:labels",
    "migrate": "database:migrate",
    "person": "people:person",
    "read-image": "read_image:read_image",
    "rebuild": "ledger:rebuild",
    "replay": "replay:replay",
    "serve": "serve:serve",
    "site": "site:site",
    "tag-text": "keys:tag_text",
    "verify": "ledger:verify",
    "web": "web_process:web",
    "worker": "worker:worker",
}
"""Name of each command, and the module and object in this room that carry it out."""


class Commands(click.Group):
    """Loads a command when it is asked for, and ends all of them by the same exit codes."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return all names, hidden ones too; help leaves those out itself."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load the command's module; None for a name that is not known."""
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name].partition(":")
        return cast("click.Command", getattr(import_module(f"traceability.cli.{module}"), name))

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; a refusal becomes its sentence and exit code."""
        try:
            return super().invoke(ctx)
        except Exception as failure:
            end = ended_by(failure)
            if end is None:
                raise
            raise end from failure


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="Circuit Traceability")
def cli() -> None:
    """Circuit Traceability: which circuits contain lot X, who was on them, and when.

    Settings come from the environment, prefix TRACEABILITY_; see docs/administrator.md.

    Exit codes: 0 done, 1 refused, 2 wrong usage, 3 not available.
    """


def main() -> None:
    """Run the command line of this process and leave."""
    cli(prog_name="traceability")
