"""`etchwarden doctor`: the self-check, in sentences with what to do."""

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import click

from etchwarden.installation.paths import Places
from etchwarden.selfcheck.board_checks import BOARD_CHECKS
from etchwarden.selfcheck.board_look import look_at_board
from etchwarden.selfcheck.bundle import bundle_of
from etchwarden.selfcheck.facts import BoardFacts, MachineFacts, PageFacts
from etchwarden.selfcheck.findings import CheckResult, Grade, results_of
from etchwarden.selfcheck.machine_checks import MACHINE_CHECKS, PAGE_CHECKS
from etchwarden.selfcheck.machine_look import look_at_machine
from etchwarden.selfcheck.page_look import look_at_page
from etchwire.storing import write_whole

MARKS: Final = {Grade.WELL: "well ", Grade.LOOK: "look ", Grade.WRONG: "WRONG"}
AGAIN_EVERY_S: Final = 1.0


@click.command()
@click.option("--bundle", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False),
    help="Write what was found to FILE, to ask somebody for help: without names or photos.",
)  # fmt: skip
@click.option("--release", "of_release", is_flag=True,
    help="Check only what a new release may be to blame for, the page and the machines that are"
    " named; anything short of wrong is well.",
)  # fmt: skip
@click.option("--machine", "names", multiple=True, metavar="NAME",
    help="Check only this machine; may be given again. Otherwise all that are configured.",
)  # fmt: skip
@click.option("--patience", "patience_s", type=click.FloatRange(0, 600), default=0.0,
    help="Look again for so many seconds while something is wrong, as after a start.",
)  # fmt: skip
@click.option("--root", type=click.Path(file_okay=False, path_type=Path), default=Path("/"),
    help="Look at an installation below this folder.",
)  # fmt: skip
def command(
    bundle: Path | None, of_release: bool, names: tuple[str, ...], patience_s: float, root: Path
) -> None:
    """Check this board, its machines and its page, and say what to do.

    Exit code 0: all is well. 1: somebody should look at something. 2: something is wrong.
    """
    places = Places(root.resolve())
    until_s = time.monotonic() + patience_s
    while True:
        board = look_at_board(places)
        machine_names = names or (() if of_release else places.machines())
        machines = [look_at_machine(name, places) for name in machine_names]
        page = look_at_page(places)
        found = list(findings(board, machines, page, of_release=of_release))
        worst = max((finding.grade for _, _, finding in found), default=Grade.WELL)
        if worst < Grade.WRONG or time.monotonic() >= until_s:
            break
        time.sleep(AGAIN_EVERY_S)
    for of, name, finding in found:
        click.echo(f"{MARKS[finding.grade]}  {of}, {name}: {finding.sentence}")
        if finding.advice:
            click.echo(f"       → {finding.advice}")
    if bundle is not None:
        _write(bundle, bundle_of(board, machines, page, found))
    raise SystemExit(0 if of_release and worst < Grade.WRONG else int(worst))


def findings(
    board: BoardFacts, machines: list[MachineFacts], page: PageFacts, *, of_release: bool = False
) -> Iterator[tuple[str, str, CheckResult]]:
    """Yield whom each finding is about, what was checked, and what was found."""
    for name, finding in results_of(BOARD_CHECKS, board, of_release=of_release):
        yield "board", name, finding
    for machine in machines:
        for name, finding in results_of(MACHINE_CHECKS, machine, of_release=of_release):
            yield machine.name, name, finding
    for name, finding in results_of(PAGE_CHECKS, page, of_release=of_release):
        yield "page", name, finding


def _write(path: Path, text: str) -> None:
    try:
        write_whole(path, text)
    except OSError as error:
        raise click.ClickException(f"{path} cannot be written: {error.strerror}.") from error
    click.echo(f"Written to {path}. Read it before you send it.")
