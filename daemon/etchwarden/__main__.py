"""The `etchwarden` command: a table of subcommands, each imported only when it is asked for."""

import os
from importlib import import_module
from keyword import iskeyword
from typing import Final

import click

# Matrices are small here: several threads of numpy's would only wait for one another, at four times
# the processor time of one (measured on a search for dots), beside an etch. Before numpy loads.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Name on the command line, and the one line `etchwarden --help` shows for it. The text stands
# here so that help needs no import: the daemon must never load what only the page needs.
SUBCOMMANDS: Final = {
    "practice": "Etch a picture on the practice machine, with the page in the browser.",
    "prepare": "Turn a photo into a job that a tile can hold.",
    "design": "Designs: photo, lettering and outlines on one tile, or lettering alone.",
    "mural": "Lay one photo over many tiles, with joints between them.",
    "jig": "Jigs of a machine: list them, add one, say where each tile lies.",
    "bench": "Lay several pictures into a jig, to be etched in one run.",
    "card": "Lay out a test card that finds speed and power, greys or register.",
    "read": "Read a test card from photos of it, or from marks by hand.",
    "laser": "Lasers: list them, describe one, note a wiped lens or a new filter.",
    "surface": "Tiles and paints: list them, describe one.",
    "lot": "Painting lots: list them, show one, add one, say which tile was of which.",
    "order": "Orders: list them, show one, add one, take a list of them.",
    "recipe": "Recipes: list them, write one down, retire one.",
    "verdict": "Say what the wiped tile of a run looked like.",
    "timeline": "Show what happened with a laser on a surface, and when to test again.",
    "load": "Hand a job, or another program's G-code, to the daemon.",
    "move": "Move the head with the beam off, home it, set the origin.",
    "trace": "Take the head round the picture with the beam off.",
    "wiring": "Show every contact of the box, and try its outputs.",
    "settings": "Show the controller's settings that matter.",
    "etch": "Get the loaded job ready, start it and watch it.",
    "answer": "Answer a watch round, or a look after the end.",
    "again": "Take up an etch that was cut short.",
    "check": "Say what a prepared file will do, before it does it.",
    "daemon": "Own the machine: stream jobs, watch it, keep the logbook.",
    "page": "Serve the page that phones watch.",
    "pair": "Let a phone in: print a code and the address.",
    "alert": "Tell people something now, to see whether it reaches them.",
    "configure": "Write a machine's file by answering questions, or check one.",
    "doctor": "Check this board, its machines and its page, and say what to do.",
    "update": "Change to another release, and back again when it is not well.",
    "fleet": "Show every box of the shop, as its broker tells.",
    "backup": "Make a backup of the logbook, and check it.",
    "restore": "Put a backup in the logbook's place.",
    "export": "Write everything the logbook knows as CSV and JSON.",
    "import": "Take an export into the logbook of a fresh box.",
    "machine": "Run the practice machine alone.",
}


class _LazyGroup(click.Group):
    """A group whose subcommands are modules of `commands`, each with a `command`."""

    def list_commands(self, context: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(SUBCOMMANDS)

    def get_command(self, context: click.Context, name: str) -> click.Command | None:  # noqa: ARG002
        if name not in SUBCOMMANDS:
            return None
        module = f"{name}_" if iskeyword(name) else name
        command: click.Command = import_module(f"etchwarden.commands.{module}").command
        return command

    def format_commands(self, context: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(SUBCOMMANDS.items()))


@click.group(cls=_LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="etchwarden", prog_name="etchwarden")
def main() -> None:
    """Get a photograph onto a white-painted tile with a diode laser, and know what was done."""


if __name__ == "__main__":
    main()
