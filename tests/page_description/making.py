"""Addresses about pictures and test cards in the making, and the machines of a board."""

from typing import Final

from page_description.entries import JSON, TEXT, Entry

_DRAFT: Final = {"draft_id": TEXT}
_TILE: Final = {"number": {"type": "integer", "minimum": 0, "maximum": 2**31 - 1}}
_FIGURE: Final = {"type": "string", "pattern": r"^\d{1,4}([.,]\d{1,3})?$"}
_YES: Final = {"enum": ["yes", ""]}
_FILE: Final = {"type": "string", "format": "binary"}
_SHOWN: Final = (303, 404, 409, 422, 503)
_ASKED: Final = (404, 409, 422, 502, 503)


def _step(name: str, says: str, **asks: object) -> tuple[Entry, Entry]:
    path = f"/new/{{draft_id}}/{name}"
    return (
        Entry(
            method="GET", path=path, says=says, role="operate", where=_DRAFT, answers=_SHOWN
        ),
        Entry(
            method="POST", path=path, says=f"{says} Go on with what was said.", role="operate",
            where=_DRAFT, asks=asks, answers=_ASKED,  # type: ignore[arg-type]
        ),
    )  # fmt: skip


def _of_tile(name: str, says: str, **more: object) -> Entry:
    path = f"/test-tiles/{{number}}/{name}"
    return Entry(
        method="POST", path=path, says=says, role="operate", where=_TILE, answers=_ASKED,
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


MAKING: Final = (
    Entry(
        method="GET", path="/new", says="A new picture: choose a photo.", role="operate",
        asks={"like_etch": TEXT}, answers=(404, 503),
    ),
    Entry(
        method="POST", path="/new", says="Take a photo in.", role="operate",
        asks={
            "photo": _FILE, "pair": TEXT, "size": TEXT, "order": TEXT, "item": TEXT, "like": TEXT,
            "like_etch": TEXT,
        },
        needs=("photo",),
        is_file_form=True, answers=(409, 422, 503),
    ),
    Entry(
        method="POST", path="/new/sign", says="Begin a sign, without a photo.", role="operate",
        asks={"order": TEXT, "item": TEXT}, answers=(303, 409, 422, 503),
    ),
    Entry(
        method="POST", path="/new/same-again/{number}", says="Make an etched picture once more.",
        role="operate", where=_TILE, answers=(303, 404, 503),
    ),
    Entry(
        method="GET", path="/new/{draft_id}", says="Where a picture in the making was left.",
        role="operate", where=_DRAFT, answers=(303, 404),
    ),
    Entry(
        method="POST", path="/new/{draft_id}/away", says="Throw it away.", role="operate",
        where=_DRAFT, answers=(404,),
    ),
    Entry(
        method="POST", path="/new/{draft_id}/cancel", says="Give up the work on it.",
        role="operate", where=_DRAFT, answers=(404,),
    ),
    Entry(
        method="GET", path="/new/{draft_id}/work.json", says="How far the work on it has come.",
        role="operate", where=_DRAFT, gives=JSON, answers=(404,),
    ),
    Entry(
        method="GET", path="/new/{draft_id}/{name}", says="A picture of it.", role="operate",
        where=_DRAFT, gives="image/*", answers=(404,),
    ),
    *_step("tile", "Name, size, laser, tile and paint.", called=TEXT, width_mm=_FIGURE,
           height_mm=_FIGURE, pair=TEXT, columns=_FIGURE, rows=_FIGURE, joint_mm=_FIGURE,
           shades=TEXT,
           feed_mm_per_min=_FIGURE, power_percent=_FIGURE, line_spacing_mm=_FIGURE,
           air_assist=_YES),
    *_step("cut", "Crop and turn.", turn=TEXT, left=_FIGURE, top=_FIGURE, wide=_FIGURE),
    *_step("look", "Photo or lettering, and how light.", halftone=TEXT, lighter=_FIGURE,
           contrast=_FIGURE, local_contrast=_FIGURE, sharpness=_FIGURE, open_shadows=_FIGURE,
           grey_mix=TEXT, face_light=_FIGURE, fade=_FIGURE, oval_x=_FIGURE, oval_y=_FIGURE,
           oval_wide=_FIGURE, oval_high=_FIGURE),
    *_step("design", "Lettering, shape, soft edge and border.", text=TEXT, size_mm=_FIGURE,
           font=TEXT, stand=TEXT, ink=TEXT, shape=TEXT, soft_mm=_FIGURE, line_mm=_FIGURE,
           has_number=_YES, then=TEXT),
    *_step("proof", "The tile as it will look, and what will go wrong.", at_x_mm=_FIGURE,
           at_y_mm=_FIGURE),
    Entry(
        method="POST", path="/new/{draft_id}/mend/{finding}", role="operate",
        says="Mend what was found in its picture.", where={**_DRAFT, "finding": TEXT},
        answers=(404,),
    ),
    Entry(
        method="POST", path="/new/{draft_id}/bench", says="Put it on the bench.", role="operate",
        where=_DRAFT, asks={"has read": TEXT, "lot": TEXT, "tile": _FIGURE}, answers=_ASKED,
    ),
    Entry(
        method="GET", path="/test-tiles", says="Test cards, and what they showed.",
        role="watch", asks={"laser": TEXT, "surface": TEXT, "pair": TEXT}, answers=(409, 503),
    ),
    Entry(
        method="GET", path="/test-tiles/new", says="Order a test card.", role="operate",
        answers=_SHOWN,
    ),
    Entry(
        method="POST", path="/test-tiles/new", says="Make a test card.", role="operate",
        asks={"pair": TEXT, "finds": TEXT, "air_assist": _YES, "then": TEXT}, answers=_ASKED,
    ),
    Entry(
        method="GET", path="/test-tiles/{number}", says="One test card.", role="watch",
        where=_TILE, answers=_SHOWN,
    ),
    Entry(
        method="GET", path="/test-tiles/{number}/work.json", says="How far work on it has come.",
        role="watch", where=_TILE, gives=JSON, answers=(404, 503),
    ),
    Entry(
        method="GET", path="/test-tiles/{number}/{name}", says="A picture of what was read.",
        role="watch", where=_TILE, gives="image/*", answers=(404, 503),
    ),
    _of_tile("bench", "Put it on the bench."),
    _of_tile(
        "photos", "Read it from photos.", asks={"photo": _FILE, "wiped": _YES}, is_file_form=True
    ),
    _of_tile("marks", "Say by hand what patches showed.", asks={"mark": TEXT, "patch": TEXT}),
    _of_tile("pairs", "Say by hand which pairs of rows meet.", asks={"pair": TEXT}),
    _of_tile("choose", "Bring into force what it showed.", asks={"choose": _YES}),
    Entry(method="GET", path="/machines", says="The machines of this board."),
)  # fmt: skip
