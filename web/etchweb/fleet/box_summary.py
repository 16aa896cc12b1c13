"""What is seen of a box at first sight: does it etch, how far is it, does it need somebody."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from etchweb.fleet.box_registry import Box
from etchweb.fleet.topics import AWAY, INIT, LOST
from etchweb.text.formatting import NARROW_SPACE, as_sentence, counted, grouped, short_duration
from etchweb.text.page_states import HEADLINES

UNDER_WAY: Final = ("etching", "holding", "held", "resuming", "stopping")
NOT_HEARD: Final = "Not heard from"
_WHILE_AWAY: Final = {LOST: "Gone", AWAY: "Switched off", INIT: HEADLINES["away"]}
_NO_LINK: Final = ("absent", "lost", "refused")
# Whoever looks has to go there, or somebody else does.
_CALLS: Final = ("held", "stopped", "failed", *_NO_LINK)
_CALLS_WHILE_AWAY: Final = (LOST, INIT)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxSummary:
    """One box, in words for page and command alike."""

    name: str
    page: str  # an address that may be followed, or nothing
    headline: str
    sentence: str
    picture: str
    percent: float | None  # of an etch under way
    left: str  # of its time
    progress: str
    troubles: Sequence[str]
    interlocks: str
    beam_hours: str
    etches: bool
    calls: bool  # somebody has to look after it

    def lines(self) -> tuple[str, ...]:
        """Return everything, the most pressing first, for a terminal."""
        picture = f"{self.picture}: {self.progress}" if self.progress else self.picture
        said = (
            *self.troubles,
            self.sentence,
            picture,
            as_sentence(self.left),
            self.interlocks,
            self.beam_hours,
        )
        return tuple(line for line in (f"{self.headline}.", *said) if line)


def box_summary(box: Box) -> BoxSummary:
    """Return what is said of `box`; one that is away is shown with what it told last."""
    scene = _scene(box)
    is_calling = scene in _CALLS if box.is_there else box.state in _CALLS_WHILE_AWAY
    wrong, trouble = _wrong(box), box.said("records/trouble")
    etches = box.is_there and box.said("etch/state") in UNDER_WAY
    left_s = _number(box.said("etch/remaining"))
    return BoxSummary(
        name=box.name,
        page=_address(box.said("machine/page")),
        headline=_headline(box, scene),
        sentence=as_sentence(box.said("etch/sentence") if box.is_there else box.absence),
        picture=box.said("etch/picture"),
        percent=_number(box.said("etch/progress")) if etches else None,
        left=f"{short_duration(left_s)} left" if etches and left_s is not None else "",
        progress=_progress(box),
        troubles=[as_sentence(one) for one in (wrong, trouble) if one],
        interlocks="All interlocks are good." if box.is_there and not wrong else "",
        beam_hours=_beam_hours(box.said("machine/beam-hours")),
        etches=etches,
        calls=is_calling or bool(trouble or (wrong and box.said("interlocks/trips"))),
    )


def summary(boxes: Sequence[BoxSummary]) -> str:
    """Return the one sentence for whoever looks only for a moment."""
    etching = sum(one.etches for one in boxes)
    calling = [one.name for one in boxes if one.calls]
    etch = (
        counted(etching, "box is etching", "boxes are etching") if etching else "No box is etching"
    )
    needs = "needs" if len(calling) == 1 else "need"
    return f"{etch}; {', '.join(calling)} {needs} somebody." if calling else f"{etch}."


def _scene(box: Box) -> str:
    """Return the one word for how it stands, or stood when last heard."""
    if (link := box.said("machine/link")) in _NO_LINK:
        return link
    state = box.said("etch/state")
    return box.said("etch/ended") or state if state == "ended" else state


def _headline(box: Box, scene: str) -> str:
    if not box.is_there:
        return _WHILE_AWAY.get(box.state, NOT_HEARD)
    return HEADLINES.get(scene, NOT_HEARD)


def _progress(box: Box) -> str:
    percent = _number(box.said("etch/progress"))
    if percent is None:
        return ""
    rows, done = _number(box.said("etch/rows")), _number(box.said("etch/rows-done"))
    said = f"{percent:.0f}{NARROW_SPACE}%"
    if rows is not None and done is not None:
        said += f", {grouped(done)} of {grouped(rows)} rows"
    return said if box.is_there else f"{said} when last heard from"


def _wrong(box: Box) -> str:
    """Return what is wrong; of an earlier release, the names of what waits for a reset."""
    if not box.is_there:
        return ""
    trips = box.said("interlocks/trips")
    return box.said("interlocks/wrong") or (f"To be reset: {trips}" if trips else "")


def _address(page: str) -> str:
    """Return an address that may be followed: the broker's words are not ours."""
    return page if page.startswith(("http://", "https://")) else ""


def _number(word: str) -> float | None:
    try:
        value = float(word)
    except ValueError:
        return None
    return value if 0 <= value < 1e9 else None  # anything may stand at a broker


def _beam_hours(word: str) -> str:
    hours = _number(word)
    return "" if hours is None else f"{short_duration(hours * 3600)} of beam time."
