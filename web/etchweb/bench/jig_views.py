"""A jig measured on the page: move the head over two of its corners, beam off, and say so."""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from flask import redirect, render_template, request, url_for
from werkzeug.wrappers import Response as BaseResponse

from etchphoto.errors import UnfitDesign
from etchphoto.layout.design import LARGEST_MM
from etchphoto.layout.jig import Corners, Jig, Pockets
from etchphoto.layout.jig_measuring import corner_under
from etchweb.catalogue.forms import refusals_as_sentences
from etchweb.context import app_context, visitor_name
from etchweb.machine.bed_drawing import place_words
from etchweb.machine.views import STEPS_MM, NoPlace, nudge
from etchweb.server.forms import Form, FormUnfit, number
from etchweb.server.responses import refusals_on
from etchweb.text.formatting import as_sentence
from etchwire.calls.catalogue import Heads, SaveJig
from etchwire.calls.machine import Status
from etchwire.catalogue.heads import Head
from etchwire.catalogue.jigs import MOST_POCKETS, Side
from etchwire.storing import write_whole

IN_HAND: Final = "jig.json"  # in the page's own folder: what was typed, and the corners so far
CORNERS: Final = ("first", "far")
COUNTS: Final = (("columns", "Pockets across"), ("rows", "Pockets from front to back"))
SIZES: Final = (
    ("pitch_x_mm", "Pitch across, mm"),
    ("pitch_y_mm", "Pitch from front to back, mm"),
    ("width_mm", "Width of a pocket, mm"),
    ("height_mm", "Depth of a pocket, mm"),
)
OPTIONAL: Final = (
    ("tile_mm", "Thickness of tile that the laser is focused for, mm (optional)"),
    ("focus_depth_mm", "Depth of focus, mm (optional)"),
)
TYPED: Final = (
    "name", "exhaust", "pointer", "step", *(name for name, _ in (*COUNTS, *SIZES, *OPTIONAL)),
)  # fmt: skip
NO_CORNER: Final = "Say which corner the head is over."


def show_jig() -> str:
    """Ask for a jig's pockets, and for its two corners."""
    return _page("")


def measure_jig() -> BaseResponse:
    """Move the head, or take the corner that it stands over; with both, keep the jig."""
    form = request.form
    in_hand = _in_hand() | {"typed": {name: form.get(name, "") for name in TYPED}}
    with refusals_on(_page), _unfit_as_sentences():
        write_whole(_file(), json.dumps(in_hand))
        if form.get("way"):
            app_context().daemon.ask(nudge(form))
            return redirect(url_for("bench.show_jig"), 303)
        which = form.get("corner", "")
        if which not in CORNERS:
            raise FormUnfit(NO_CORNER)
        pockets = _pockets(form)
        machine = app_context().daemon.ask(Status()).machine
        place_mm = corner_under(machine, _pointer(form))
        corners = _corners(in_hand, machine.origin.epoch) | {
            which: [*place_mm, machine.origin.epoch]
        }
        write_whole(_file(), json.dumps(in_hand | {"corners": corners}))
        if set(corners) != set(CORNERS):
            return redirect(url_for("bench.show_jig"), 303)
        jig = _jig(form, pockets, corners)
        if machine.bed is not None:
            jig.require_within(machine.bed)
        with refusals_as_sentences():
            app_context().daemon.ask(SaveJig(jig=jig.record, who=visitor_name()))
    _file().unlink(missing_ok=True)
    return redirect(url_for("bench.show", jig=jig.name), 303)


@contextmanager
def _unfit_as_sentences() -> Iterator[None]:
    try:
        yield
    except (UnfitDesign, NoPlace) as unfit:
        raise FormUnfit(as_sentence(str(unfit))) from unfit


def _pockets(form: Form) -> Pockets:
    columns, rows = (
        number(form, name, label, least=1, most=MOST_POCKETS) for name, label in COUNTS
    )
    if columns != int(columns) or rows != int(rows):
        raise FormUnfit("The number of pockets must be whole.")
    sizes = {name: number(form, name, label, least=0, most=LARGEST_MM) for name, label in SIZES}
    return Pockets(
        columns=int(columns),
        rows=int(rows),
        pitch_x_mm=sizes["pitch_x_mm"],
        pitch_y_mm=sizes["pitch_y_mm"],
        width_mm=sizes["width_mm"],
        height_mm=sizes["height_mm"],
    )


def _jig(form: Form, pockets: Pockets, corners: Mapping[str, list[float]]) -> Jig:
    if not form.get("name", "").strip():
        raise FormUnfit("The jig needs a name.")
    if form.get("exhaust", "") not in tuple(Side):
        raise FormUnfit("Say on which side the exhaust is.")
    (left, bottom, _), (right, top, _) = (corners[which] for which in CORNERS)
    optional = {
        name: number(form, name, label, least=0, most=LARGEST_MM)
        for name, label in OPTIONAL
        if form.get(name, "").strip()
    }
    return Jig(
        name=" ".join(form["name"].split()),
        pockets=pockets,
        corners=Corners(lower_left_mm=(left, bottom), upper_right_mm=(right, top)),
        exhaust=Side(form["exhaust"]),
        **optional,
    )


def _pointer(form: Form) -> Head | None:
    """Return the laser whose pointer stands over the corners; None for the beam's own place."""
    name = form.get("pointer", "")
    if not name:
        return None
    head = _with_pointers().get(name)
    if head is None:
        raise FormUnfit("That laser is gone, or has no pointer any more: choose again.")
    return head


def _with_pointers() -> dict[str, Head]:
    heads = app_context().daemon.ask(Heads()).heads
    return {one.name: one.head for one in heads if one.head.pointer_x_mm or one.head.pointer_y_mm}


def _corners(in_hand: Mapping[str, Any], epoch: int) -> dict[str, list[float]]:
    """Return the corners so far; those measured before another origin was set no longer count."""
    corners: dict[str, list[float]] = in_hand.get("corners", {})
    return {which: place for which, place in corners.items() if place[2] == epoch}


def _file() -> Path:
    return app_context().pictures.parent / IN_HAND


def _in_hand() -> dict[str, Any]:
    try:
        found = json.loads(_file().read_bytes())
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _page(answer: str) -> str:
    in_hand = _in_hand()
    status = app_context().daemon.ask(Status())
    place_mm = status.machine.position_mm
    corners = _corners(in_hand, status.machine.origin.epoch)
    return render_template(
        "bench/jig.html",
        answer=answer,
        typed=in_hand.get("typed", {}),
        counts=COUNTS,
        sizes=SIZES,
        optional=OPTIONAL,
        sides=tuple(Side),
        pointers=tuple(_with_pointers()),
        steps_mm=STEPS_MM,
        place="" if place_mm is None else place_words(place_mm),
        can_move="move_by" in status.may,
        corners={which: place_words((place[0], place[1])) for which, place in corners.items()},
    )
