"""Scenarios of the practice machine, each played in a child process, and what it reports."""

import atexit
import json
import subprocess
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

MOST_LINES: Final = 1000


class UnknownScenario(LookupError):
    """There is no scenario of that name."""


class ScenarioUnderWay(RuntimeError):
    """A scenario is being played already."""


class Outcome(StrEnum):
    """How a scenario has ended."""

    AS_WRITTEN = "Passed."
    OTHERWISE = "Failed."
    ENDED = "It was ended early."


@dataclass(frozen=True, slots=True)
class Scenario:
    """A scenario that may be played: `about` is one sentence, `group` a heading.

    `known` says what of it is invented and what is known.
    """

    name: str
    group: str
    about: str
    known: str = ""


@dataclass(frozen=True, slots=True)
class OutputLine:
    """One line of a performance; `at` is the machine's time, empty where it has none."""

    at: str
    sentence: str


@dataclass(slots=True)
class ScenarioRun:
    """A scenario being played, or the last one that was."""

    scenario: Scenario
    lines: list[OutputLine] = field(default_factory=list)
    outcome: Outcome | None = None  # None while it is being played
    is_given_up: bool = False


class ScenarioRunner:
    """Plays one scenario at a time; used by many threads at once.

    `command_for(name)` is what plays it: it prints lines of JSON, `{"at_s": 1.5, "sentence": "…"}`
    with or without a time, and ends with 0 where everything came as written.
    """

    def __init__(
        self, scenarios: Sequence[Scenario], command_for: Callable[[str], Sequence[str]]
    ) -> None:
        self.scenarios = tuple(scenarios)
        self.run: ScenarioRun | None = None
        self._command_for = command_for
        self._lock = threading.Lock()
        self._child: subprocess.Popen[str] | None = None
        self._listener: threading.Thread | None = None
        atexit.register(self.end)  # the child has processes of its own, and ends them

    def begin(self, name: str) -> None:
        """Begin to play the scenario of that name; raise NoSuchScene, StageTaken, OSError."""
        scenario = next((one for one in self.scenarios if one.name == name), None)
        if scenario is None:
            raise UnknownScenario("There is no scenario of that name.")
        with self._lock:
            if self.run is not None and self.run.outcome is None:
                raise ScenarioUnderWay("One is running. Wait until it is over, or end it.")
            self._child = child = subprocess.Popen(
                self._command_for(name),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
            )
            self.run = run = ScenarioRun(scenario)
            self._listener = threading.Thread(
                target=_read_output, args=(run, child), name="scenario", daemon=True
            )
            self._listener.start()

    def wait(self, seconds: float) -> bool:
        """Wait so long for the end of what is being played; return whether it is over."""
        if self._listener is not None:
            self._listener.join(seconds)
        return self.run is None or self.run.outcome is not None

    def end(self) -> None:
        """End what is being played; harmless when nothing is."""
        with self._lock:
            if self.run is not None and self._child is not None:
                self.run.is_given_up = True
                self._child.terminate()


def _read_output(run: ScenarioRun, child: "subprocess.Popen[str]") -> None:
    """Take down what the child reports, to its end."""
    with child:
        for line in map(_output_line, child.stdout or ()):
            is_news = line.sentence not in ("", run.scenario.about)
            if is_news and len(run.lines) < MOST_LINES:
                run.lines.append(line)
    if run.is_given_up:
        run.outcome = Outcome.ENDED
    else:
        run.outcome = Outcome.OTHERWISE if child.returncode else Outcome.AS_WRITTEN


def _output_line(line: str) -> OutputLine:
    try:
        said = json.loads(line)
        at_s, sentence = said.get("at_s"), str(said["sentence"])
    except (ValueError, AttributeError, KeyError):  # what goes wrong is said in words
        return OutputLine("", line.strip())
    return OutputLine("" if at_s is None else f"{at_s:.3f} s", sentence)
