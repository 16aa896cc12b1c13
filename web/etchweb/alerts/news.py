"""What people are told without asking: pure, a snapshot in, what it has to tell out."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from etchweb.text.emergencies import LOCAL_RULES_FIRST, gravest_of
from etchweb.text.formatting import as_sentence, counted, grouped, short_duration
from etchwire.alert_policy import ALERT_POLICY, Alert, Occasion
from etchwire.calls.interlock_report import InterlockReport
from etchwire.calls.snapshot import JobView, RunView, Snapshot

COOL_FIRST: Final = "Cool first; wipe outside the box."
TRIPPED: Final = "Something is wrong at the machine"
ROUND: Final = "Is somebody within reach?"
LOOK: Final = "Look at the machine once more"
CUT_OFF: Final = (
    "The box's control program does not answer, or has ended, in the middle of an etch. Go and look"
    " at the machine; if the beam is on, use the stop circuit."
)


@dataclass(frozen=True, slots=True)
class News:
    """Something that is so now; `key` stays the same for as long as it is the same thing.

    Without an occasion nobody is told: an etch that goes on. `ends` is the key of that, in what
    tells how it ended; where it ends without such a word, it was cut off.
    """

    key: str
    occasion: Occasion | None
    title: str
    text: str = ""
    ends: str = ""

    @property
    def kind(self) -> Alert | None:
        """What a webhook or a mail calls it."""
        return None if self.occasion is None else ALERT_POLICY[self.occasion].alert


_ENDED: Final = {
    "complete": (Occasion.END, "Etched"),
    "stopped": (Occasion.STOP, "Stopped"),
    "failed": (Occasion.FAULT, "It did not finish"),
}


def news_of(snapshot: Snapshot) -> tuple[News, ...]:
    """Return what is so by `snapshot`, worst first."""
    return (*_of_box(snapshot.interlocks), *_of_run(snapshot))


def held_long(title: str, text: str, held_s: float) -> News:
    """Return the reminder that follows when nobody came."""
    text = f"For {short_duration(held_s)} now. {text}"
    return News("", Occasion.HELD_LONG, title.replace("Held", "Still held", 1), text)


def cut_off(title: str) -> News:
    """Return what is told of an etch called `title` that ended without a word."""
    return News("", Occasion.CUT_OFF, f"Cut off: {title}", CUT_OFF)


def _of_box(box: InterlockReport) -> Iterator[News]:
    for trip in box.trips:
        text = as_sentence(trip.sentence)
        if emergency := gravest_of([trip]):
            steps = " ".join(f"{n}. {step}" for n, step in enumerate(emergency.steps, 1))
            text = f"{text} {steps} {LOCAL_RULES_FIRST}"
            yield News(f"emergency {trip.name}", Occasion.EMERGENCY, emergency.title, text)
        elif trip.phase == "idle":  # else the end of the etch tells of it, or who armed
            yield News(f"tripped {trip.name}", Occasion.TRIP_AT_REST, TRIPPED, text)
    if box.board_trouble:
        text = as_sentence(box.board_trouble)
        yield News("board trouble", Occasion.BOARD, TRIPPED, text)
    if box.is_round_asking:
        yield News("round", Occasion.ROUND, ROUND, as_sentence(box.asked_for or ""))
    elif box.is_look_asked:
        text = as_sentence(box.asked_for or "")
        yield News(f"look: {text}", Occasion.LOOK, LOOK, text)


def _of_run(snapshot: Snapshot) -> Iterator[News]:
    run, job = snapshot.run, snapshot.job
    if run is None or job is None:
        return
    going_on = f"run {run.id} under way"
    if run.ended is not None:
        yield _ended(run, run.ended, job, ends=going_on)
        return
    yield News(going_on, None, job.title)
    if snapshot.state == "held":
        because = as_sentence(run.held_because or "")
        yield News(
            f"run {run.id} held at {run.etched_rows}: {because}",
            Occasion.HOLD,
            f"Held: {job.title}",
            f"{because} At rest after {_rows(run, job)}; the beam is off.".strip(),
        )


def _ended(run: RunView, ended: str, job: JobView, *, ends: str) -> News:
    occasion, word = _ENDED[ended]
    told = [as_sentence(run.because or ""), f"{_rows(run, job, of=True)} are etched."]
    if occasion is Occasion.END:
        told = [f"It took {short_duration(run.elapsed_s)}.", COOL_FIRST]
    return News(
        f"run {run.id} {ended}",
        occasion,
        f"{word}: {job.title}",
        " ".join(sentence for sentence in told if sentence),
        ends,
    )


def _rows(run: RunView, job: JobView, *, of: bool = False) -> str:
    if of:
        return f"{grouped(run.etched_rows)} of {counted(job.rows, 'row', 'rows')}"
    return counted(run.etched_rows, "row", "rows")
