"""A scenario, found, read and played from its beginning to its end."""

import json
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final

import click

from etchpractice.scenario.play import Occurrence
from etchpractice.scenario.script import (
    GETTING_READY,
    STARTING,
    Begins,
    FaultyScenario,
    Scenario,
    read_scenario,
)
from etchpractice.scenario.shelf import GROUPS, NoSuchScenario, scenario_called, shelved
from etchpractice.scenario.stage import perform
from etchwarden.practice_session.process_stage import ProcessStage
from etchwarden.practice_session.session import Session

LIST: Final = "list"
MOST_SPEEDUP: Final = 20.0  # beyond it nobody knows how far time gets between two looks
MOST_SPEEDUP_OF_HANDS: Final = 3.0  # contacts, hands and alerts have the wall's time
SLACK_S: Final = 0.5  # of the wall's, for whatever has to go through processes first


def listing() -> str:
    """Return what is played when nobody names it: every scenario that comes with the program."""
    lines = []
    for group, title in GROUPS.items():
        lines += [f"{title}:", ""]
        for one in (one for one in shelved() if one.group == group):
            lines += [
                f"  {one.name}",
                *(f"      {text}" for text in (one.about, one.known) if text),
            ]
        lines += [""]
    return "\n".join(lines).rstrip()


def load_scenario(named: str) -> Scenario:
    """Read the scenario of that name, or the file there; raise ClickException naming each fault."""
    path = _path_of(named)
    try:
        return read_scenario(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        said = error.strerror if isinstance(error, OSError) else "it is not text in UTF-8"
        raise click.ClickException(f"{path}: {said}.") from error
    except FaultyScenario as error:
        raise click.ClickException(f"{path}: {error}") from error


def _path_of(named: str) -> Path:
    path = Path(named)
    if path.suffix == ".toml" or len(path.parts) > 1 or path.is_file():
        return path
    try:
        return scenario_called(named)
    except NoSuchScenario as error:
        raise click.ClickException(f"{error} A file of your own ends in “.toml”.") from error


def pace_of(scenario: Scenario, speedup: float) -> float:
    """Return how fast a scenario is played when `speedup` is asked for."""
    if scenario.needs_real_time:
        return 1.0
    if scenario.hears_buzzer:
        from etchdaemon.assembly import HONEST_SPEEDUP  # noqa: PLC0415  brings the whole daemon

        return min(speedup, HONEST_SPEEDUP)
    is_of_people = scenario.moves_contacts or scenario.reads_alerts
    return min(speedup, MOST_SPEEDUP_OF_HANDS if is_of_people else MOST_SPEEDUP)


def print_words(said: Occurrence | str) -> None:
    """Report for a person."""
    click.echo(str(said))


def print_json(said: Occurrence | str) -> None:
    """Report for a program: a line of JSON, with the machine's seconds where it has a time."""
    if isinstance(said, Occurrence):
        click.echo(json.dumps({"at_s": said.at_s, "sentence": said.sentence}))
    else:
        click.echo(json.dumps({"sentence": said}))


def play(
    scenario: Scenario, session: Session, *, pace: float, report: Callable[[Occurrence | str], None]
) -> bool:
    """Play on a session whose processes run, report it, return whether all came true."""
    report(scenario.about)
    with (
        session.ask_machine() as machine,
        closing(ProcessStage(scenario, session, machine)) as stage,
    ):
        if scenario.begins is Begins.ETCHING:
            for step in (*GETTING_READY, STARTING):
                stage.take(step)
        last = None
        for last in perform(scenario, stage, slack_s=SLACK_S * pace, pace=pace):
            report(last)
    has_failed = last is None or last.is_failure
    report("Failed." if has_failed else "Passed.")
    return not has_failed
