"""What people are told without asking: pure, a snapshot in, at most one piece of news out."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from etchweb.words import as_sentence, counted, grouped, short_duration


class Kind(StrEnum):
    """What a piece of news is about."""

    FINISHED = "finished"
    STOPPED = "stopped"
    FAILED = "failed"
    HELD = "held"
    HELD_LONG = "held long"


@dataclass(frozen=True, slots=True)
class News:
    """Something worth telling; `key` stays the same for as long as it is the same thing."""

    key: str
    kind: Kind
    title: str
    text: str


_ENDED: Final = {
    "complete": (Kind.FINISHED, "Etched"),
    "stopped": (Kind.STOPPED, "Stopped"),
    "failed": (Kind.FAILED, "It did not finish"),
}
COOL_FIRST: Final = "Cool first; wipe outside the box."


def news_of(snapshot: Mapping[str, Any]) -> News | None:
    """Return what `snapshot` has to tell; while an etch goes on as it should, that is nothing."""
    run, job = snapshot["run"], snapshot["job"]
    if run is None or job is None:
        return None
    if run["ended"] is not None:
        return _ended(run, job)
    if snapshot["state"] != "held":
        return None
    because = as_sentence(run["held_because"] or "")
    return News(
        f"run {run['id']} held at {run['etched_rows']}: {because}",
        Kind.HELD,
        f"Held: {job['title']}",
        f"{because} At rest after {_rows(run, job)}; the beam is off.".strip(),
    )


def held_long(news: News, held_s: float) -> News:
    """Return the reminder that follows when nobody came."""
    text = f"For {short_duration(held_s)} now. {news.text}"
    return News(news.key, Kind.HELD_LONG, news.title.replace("Held", "Still held", 1), text)


def _ended(run: Mapping[str, Any], job: Mapping[str, Any]) -> News:
    kind, word = _ENDED[run["ended"]]
    told = [as_sentence(run["because"] or ""), f"{_rows(run, job, of=True)} are etched."]
    if kind is Kind.FINISHED:
        told = [f"It took {short_duration(run['elapsed_s'])}.", COOL_FIRST]
    return News(
        f"run {run['id']} {run['ended']}",
        kind,
        f"{word}: {job['title']}",
        " ".join(sentence for sentence in told if sentence),
    )


def _rows(run: Mapping[str, Any], job: Mapping[str, Any], *, of: bool = False) -> str:
    if of:
        return f"{grouped(run['etched_rows'])} of {counted(job['rows'], 'row', 'rows')}"
    return counted(run["etched_rows"], "row", "rows")
