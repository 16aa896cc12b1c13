"""Whether answers fit, by the very reading that the daemon does."""

from typing import Final

from etchdaemon.configuration.loading import configuration_of
from etchwarden.configuring.entries import SECTIONS, AnswerKind
from etchwarden.configuring.writing import Answers, written
from etchwire.configuration.faults import Fault, FaultyConfiguration, Reason
from etchwire.configuration.source import Source

# What only a later answer can put right.
NOT_YET: Final = frozenset({Reason.HALF_A_WINDOW})


def unfit_so_far(answers: Answers) -> str:
    """Return a sentence on what does not fit in `answers`, of which more may come; or nothing.

    What is not answered yet is taken as the examples have it, so that only answers are at fault.
    """
    faults = faults_of({**_examples(answers), **answers})
    return next((fault.sentence for fault in faults if fault.reason not in NOT_YET), "")


def faults_of(answers: Answers) -> tuple[Fault, ...]:
    """Return everything that is wrong with a machine's file that has these answers."""
    try:
        configuration_of(Source.of(written("", answers)).values)
    except FaultyConfiguration as refused:
        return refused.faults
    return ()


def _examples(answers: Answers) -> dict[str, str | int | float | bool]:
    examples: dict[str, str | int | float | bool] = {}
    for section in SECTIONS:
        if not section.is_whole or not answers.get(f"{section.name}.{section.entries[0].name}"):
            continue
        for entry in section.entries[1:]:
            if entry.question:
                is_number = entry.kind is AnswerKind.NUMBER
                example = float(entry.example) if is_number else entry.example == "true"
                examples[f"{section.name}.{entry.name}"] = example
    return examples
