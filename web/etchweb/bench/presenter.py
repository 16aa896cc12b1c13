"""A bench plan to scale, turned into what the page draws and says: pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from etchphoto.layout.jig import Jig, Pocket
from etchweb.text.formatting import counted, millimetres, short_duration
from etchweb.text.view import View

_ROUND_MM = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """A draft whose job is made, so that it can be laid into a pocket; or one tile of its mural.

    `id` is what the form calls it, `seen` the name of its picture, and `job` the folder of a
    mural's tile among those of its draft. `to_read` are the sentences that have to be read before
    it is etched.
    """

    id: str
    draft: str
    seen: str
    title: str
    width_mm: float
    height_mm: float
    predicted_s: float
    surface: str
    job: str = ""
    to_read: tuple[str, ...] = ()


def plan_view(jig: Jig, laid: Mapping[int, Ready]) -> View:
    """Return the jig as a drawing in millimetres, y downwards, and what is to be said of it.

    Pockets bear their numbers; those in which something lies say the how-manieth it is.
    """
    places = jig.places()
    wide_mm, high_mm = jig.pockets.width_mm, jig.pockets.height_mm
    left = min(place.middle_mm[0] for place in places) - wide_mm / 2 - _ROUND_MM
    right = max(place.middle_mm[0] for place in places) + wide_mm / 2 + _ROUND_MM
    low = min(place.middle_mm[1] for place in places) - high_mm / 2 - _ROUND_MM
    top = max(place.middle_mm[1] for place in places) + high_mm / 2 + _ROUND_MM
    order = [place.number for place in jig.in_order() if place.number in laid]
    empty = [place.number for place in places if place.number not in laid]
    return {
        "size": f"0 0 {right - left:.1f} {top - low:.1f}",
        "pockets": [
            _pocket_view(jig, place, laid.get(place.number), (left, top), order) for place in places
        ],
        "summary": _summary(order, laid),
        "empty": _empty_words(empty) if order else "",
        "to_read": sorted({why for one in laid.values() for why in one.to_read}),
        "exhaust": f"The exhaust is at the {jig.exhaust}: tiles there are etched first.",
    }


def _pocket_view(
    jig: Jig,
    place: Pocket,
    ready: Ready | None,
    corner_mm: tuple[float, float],
    order: Sequence[int],
) -> View:
    x_mm, y_mm = place.middle_mm[0] - corner_mm[0], corner_mm[1] - place.middle_mm[1]
    size_mm = (jig.pockets.width_mm, jig.pockets.height_mm)
    view: View = {
        "laid": "",
        "picture": None,
        "turn": 0,
        "number": place.number,
        "row": place.row + 1,
        "column": place.column + 1,
        "frame": _box(x_mm, y_mm, size_mm),
        "name_at": (f"{x_mm - size_mm[0] / 2 + 2:.1f}", f"{y_mm - size_mm[1] / 2 + 8:.1f}"),
    }
    if ready is not None:
        view |= {"laid": ready.id, "draft": ready.draft, "seen": ready.seen}
        view["title"] = ready.title
        view["picture"] = _box(x_mm, y_mm, (ready.width_mm, ready.height_mm))
        view["turn"] = order.index(place.number) + 1
    return view


def _box(x_mm: float, y_mm: float, size_mm: tuple[float, float]) -> dict[str, str]:
    wide_mm, high_mm = size_mm
    return {
        "x": f"{x_mm - wide_mm / 2:.2f}",
        "y": f"{y_mm - high_mm / 2:.2f}",
        "width": f"{wide_mm:.2f}",
        "height": f"{high_mm:.2f}",
    }


def _summary(order: Sequence[int], laid: Mapping[int, Ready]) -> str:
    if not order:
        return "The plan is empty."
    seconds = sum(one.predicted_s for one in laid.values())
    tiles = counted(len(order), "tile", "tiles")
    pockets = ", ".join(map(str, order))
    return (
        f"{tiles}, etched in this order: pocket {pockets}. About {short_duration(seconds)} in all."
    )


def _empty_words(empty: Sequence[int]) -> str:
    if not empty:
        return ""
    pockets = ", ".join(map(str, empty))
    return f"Nothing lies in pocket {pockets}: an empty pocket is left out."


def choice_words(ready: Ready) -> str:
    """Return how a draft is called in the list of what can be laid."""
    return (
        f"{ready.title}, {millimetres(ready.width_mm)} × {millimetres(ready.height_mm)} mm, "
        f"{short_duration(ready.predicted_s)}"
    )
