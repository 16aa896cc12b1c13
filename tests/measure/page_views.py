"""Every view of the page and every state it can be in, one after the other, for its pictures."""

import json
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

from werkzeug.datastructures import MultiDict

from etchweb.auth.codes import new_token
from etchweb.auth.roles import Role
from etchweb.catalogue.pairs import ask_pairs
from etchweb.drafts.forms import with_tile
from etchweb.previews.store import path_name
from etchweb.storage.card_files import CardFiles
from etchweb.workers.work import WorkQueue
from etchwire.children.child_process import Launch
from etchwire.children.child_program import ChildProgram
from support.fakes.catalogue_answers import HEAD, SURFACE, craft
from support.fakes.fake_daemon import (
    ETCH,
    JOB,
    LID_TRIP,
    LOGBOOK,
    MACHINE,
    ORIGIN_SHIFTED,
    RUN,
    SHA256,
    STATES,
    STORAGE,
    answer_run,
    box,
    preflight,
)
from support.fakes.fake_unfinished import (
    BY_CUT,
    BY_EYE,
    BY_TWO_ROWS,
    LEFT,
    NOT_KEPT,
    answer_unfinished,
)
from support.fakes.fleet_boxes import FakeWatcher, fleet_on
from support.harnesses.door import until
from support.harnesses.page_bench import ServedPage
from support.harnesses.picture_bench import PATIENCE_S, draft_to_proof
from support.harnesses.read_cards import TILES, lay, lay_read
from support.samples.photo_files import PHOTOGRAPHS

ASTRONAUT: Final = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One view: its picture's name, its address, and what is pressed there, if anything.

    `token` is that of a paired phone; without, it is the browser on the box. `is_cut_off`: its
    network is lost while the view is open.
    """

    name: str
    path: str = "/"
    form: Mapping[str, str] = field(default_factory=dict)
    token: str = ""
    is_cut_off: bool = False


ADDRESSES: Final = {
    "logbook": "/logbook",
    "etch": "/logbook/7",
    "etch, judged": "/logbook/6",
    "head path": f"/head-path/{SHA256}",
    "test cards": "/test-tiles",
    "test card, new": "/test-tiles/new",
    "lasers": "/lasers",
    "laser, changed": "/lasers?name=practice+20+W",
    "tiles and paints": "/tiles-and-paints",
    "painting lots": "/lots",
    "orders": "/orders",
    "order": "/orders/3",
    "order, new": "/orders/new",
    "orders, costs": "/orders/costs",
    "orders, from a list": "/orders/list",
    "bench": "/bench",
    "bench, a jig": "/bench/jig",
    "machines": "/machines",
    "machine, move": "/machine",
    "machine, wiring": "/machine/wiring",
    "machine, settings": "/machine/settings",
    "storage": "/storage",
    "practice": "/practice",
    "practice, drills": "/plays",
    "practice, all faults": "/plays?find=",
    "phones": "/phones",
    "pair": "/pair",
    "error, 404": "/nowhere",
    "error, 405": "/hold",
    "new picture, no draft": "/new",
}
JUDGED: Final = {
    "id": 1, "verdict": "banded", "cause": "dirty lens", "note": "rows 300 on", "photo": "",
    "at_utc": "2026-11-25T18:00:00Z", "who": "Ann’s phone",
}  # fmt: skip
ASKED: Final = {
    "long_run": "This runs for 41 minutes and nothing here notices a fire.",
    "stays": (
        "This would end at 19:10 and its last look come at 19:40, after closing time at 18:30."
    ),
}
FIRE: Final = {
    **LID_TRIP, "name": "no flame or smoke", "reaction": "emergency",
    "sentence": "Flame or smoke. Beam and feed are cut.",
}  # fmt: skip
LOST: Final = {"is_known": False, "epoch": 3, "sentence": "Set the origin.", "again": None}
NEW_BOX: Final = {
    "heads": {"heads": []},
    "surfaces": {"surfaces": []},
    "recipes": {"recipes": []},
    "runs": {**LOGBOOK["runs"], "runs": []},
}


def all_visits(served: ServedPage) -> Iterator[Visit]:
    """Yield every view, the daemon being moved before each."""
    for visits in (
        watching, looking_on, records, pressed, continuing, cards, newcomer, boxes, new_picture,
        away,
    ):  # fmt: skip
        served.start_over()
        served.daemon.answers["run"] = judged
        yield from visits(served)


def watching(served: ServedPage) -> Iterator[Visit]:
    """Yield the watch page in every state."""
    for state in STATES:
        served.daemon.tell(state, time_factor=20)
        yield Visit(name=f"watch, {state}")
    for name, (state, changes) in watch_changes().items():
        served.daemon.tell(state, **changes)
        yield Visit(name=f"watch, {name}")
    just_now = (datetime.now(UTC) - timedelta(minutes=4)).isoformat(timespec="seconds")
    served.daemon.answers["run"] = {**ETCH, "ended_at_utc": just_now}
    served.daemon.tell("complete")
    yield Visit(name="watch, cooling")
    served.daemon.tell("etching")
    yield Visit(name="watch, link lost", is_cut_off=True)


def looking_on(served: ServedPage) -> Iterator[Visit]:
    """Yield what a phone sees that may only watch, hold and stop."""
    token = new_token()
    store = served.app.extensions["etchweb"].access.store
    store.add_phone(token, "Ben’s phone", Role.WATCH, time.time())
    served.daemon.tell("loaded")
    for name, path in {
        "loaded": "/",
        "move": "/machine",
        "phones": "/phones",
        "403": "/new",
    }.items():
        yield Visit(name=f"watching phone, {name}", path=path, token=token.token)


def watch_changes() -> dict[str, tuple[str, dict[str, Any]]]:
    """Return what else the watch page can show: its name, a state of STATES, and the changes."""
    tripped = {"state": "held", "may": ["reset", "stop"], "interlocks": box(trips=[LID_TRIP])}
    mended = {**box(trips=[LID_TRIP]), "rules": box()["rules"]}
    held = {**STATES["held"]["run"], "why_not_resume": "Reset first."}
    return {
        "armed for a long run": ("armed", {"asked_at_start": ASKED}),
        "loaded after closing time": ("loaded", {"asked_at_start": {"too_late": ASKED["stays"]}}),
        "loaded, origin unknown": (
            "loaded", {"may": ["arm", "set_origin"], "machine": {**MACHINE, "origin": LOST}},
        ),
        "loaded, something to read": (
            "loaded", {"job": {**JOB, "preflight": preflight("acknowledge", ORIGIN_SHIFTED)}},
        ),
        "loaded, refused": (
            "loaded",
            {"may": ["unload"], "job": {**JOB, "preflight": {
                **preflight("refused", {**ORIGIN_SHIFTED, "severity": "refuse"}),
                "sentence": "The file holds the beam on at standstill; it is refused.",
            }}},
        ),
        "asking for a round": (
            "etching",
            {"interlocks": box(is_round_asking=True), "may": ["answer_round", "hold", "stop"]},
        ),
        "held, lid open": ("held", {**tripped, "run": held}),
        "held, lid closed again": ("held", {**tripped, "run": held, "interlocks": mended}),
        "fire": ("tripped", {"interlocks": box(trips=[FIRE])}),
        "fire, etching": (
            "tripped", {"state": "stopping", "run": RUN, "interlocks": box(trips=[FIRE])},
        ),
        "idle, unfinished": ("idle", {"unfinished": LEFT}),
        "idle, records in trouble": (
            "idle",
            {"logbook_trouble": "The disk is full.", "storage": {
                **STORAGE, "low": "Only 40 MB are left.",
                "backup_trouble": "The last backup failed.",
            }},
        ),
    }  # fmt: skip


def records(served: ServedPage) -> Iterator[Visit]:
    """Yield the views that look the same whatever the machine does."""
    for name, path in ADDRESSES.items():
        yield Visit(name=name, path=path)
    served.daemon.answers["runs"] = {"runs": [], "next_before": None, "notes": []}
    yield Visit(name="logbook, nothing found", path="/logbook?text=gone")
    yield Visit(name="logbook, empty", path="/logbook")
    served.daemon.tell("loaded")
    yield Visit(name="machine, move, loaded", path="/machine")
    served.daemon.tell("etching")
    yield Visit(name="machine, move, etching", path="/machine")


def pressed(_served: ServedPage) -> Iterator[Visit]:
    """Yield what is answered to buttons: invitations, refusals, errors."""
    yield Visit(name="phones, a code", path="/phones/add", form={"role": "operate"})
    yield Visit(name="pair, wrong code", path="/pair", form={"code": "000000"})
    yield Visit(name="order, new, refused", path="/orders/new", form={"customer": " "})
    yield Visit(name="error, 415", path="/lots/compare", form={"x": "y"})
    yield Visit(name="error, 403", path="/stop", form={"form_token": "wrong"})
    yield Visit(name="error, 413", path="/lots", form={"notes": "x" * 3_000_000})


def continuing(served: ServedPage) -> Iterator[Visit]:
    """Yield *Continue this etch* for each thing that is known of the cut."""
    told = {"by eye": BY_EYE, "by cut": BY_CUT, "two rows": BY_TWO_ROWS, "not kept": NOT_KEPT}
    for name, known in told.items():
        served.daemon.answers["unfinished"] = answer_unfinished(known)
        yield Visit(name=f"continue, {name}", path="/logbook/6/take-up-again")


def cards(served: ServedPage) -> Iterator[Visit]:
    """Yield a card before it is etched, after that, and each kind when it was read."""
    yield Visit(name="card, to etch", path=lay(served, "power", is_burnt=False))
    yield Visit(name="card, etched", path=lay(served, "power"))
    yield Visit(name="test cards, one etched", path="/test-tiles")
    for kind in TILES:
        yield Visit(name=f"card, {kind}, read", path=lay_read(served, kind))


def newcomer(served: ServedPage) -> Iterator[Visit]:
    """Yield what a box shows that knows nothing yet."""
    served.daemon.answers |= craft() | NEW_BOX
    paths = {
        "home": "/", "laser": "/lasers", "tile": "/tiles-and-paints", "card": "/test-tiles/new",
        "cards": "/test-tiles", "picture": "/new", "orders": "/orders",
    }  # fmt: skip
    for name, path in paths.items():
        yield Visit(name=f"newcomer, {name}", path=path)


def boxes(served: ServedPage) -> Iterator[Visit]:
    """Yield the view of all boxes."""
    with fleet_on(served.app, FakeWatcher()) as watcher:
        yield Visit(name="all boxes", path="/fleet")
        watcher.trouble = "The connection to the broker at 192.168.0.10 is lost."
        yield Visit(name="all boxes, broker away", path="/fleet")


def new_picture(served: ServedPage) -> Iterator[Visit]:
    """Yield the steps of a picture, and what follows from a draft that is made."""
    served.daemon.answers |= craft()
    draft = draft_to_proof(served.app, ASTRONAUT, width_mm=80, height_mm=100)
    for step in ("", "/tile", "/cut", "/look", "/design", "/proof"):
        yield Visit(name=f"new picture, {step.strip('/') or 'go on'}", path=draft + step)
    yield Visit(name="new picture, drafts", path="/new")
    yield from work_under_way(served)
    yield from sign_and_mural(served)
    yield Visit(name="bench, a draft", path=f"/bench?jig=Signs&pocket-1={draft.rpartition('/')[2]}")


def work_under_way(served: ServedPage) -> Iterator[Visit]:
    """Yield a picture and a test card that are being worked out, and that came to nothing."""
    drafts, works = (served.app.extensions[f"etchweb {name}"] for name in ("drafts", "works"))
    draft = replace(drafts.all()[0], is_mirrored=True)
    drafts.keep(draft)
    files = CardFiles.of(served.app.extensions["etchweb"].pictures.parent, 21)
    files.folder.mkdir(parents=True)
    ordered = files.order({"card": {}})
    for name, folder, verb, key, path in (
        ("new picture", drafts.folder_of(draft.id), "make", draft.found_key,
         f"/new/{draft.id}/proof"),
        ("card", files.folder, "card", ordered, "/test-tiles/21"),
    ):  # fmt: skip
        no_memory = folder / "no-memory"
        served.app.extensions["etchweb works"] = WorkQueue(launch=ended_at(no_memory))
        work = served.app.extensions["etchweb works"].begin(folder, verb, key)
        until(lambda work=work: work.share)
        yield Visit(name=f"{name}, being worked out", path=path)
        no_memory.touch()
        assert work.over.wait(PATIENCE_S)
        yield Visit(name=f"{name}, came to nothing", path=path)
        no_memory.unlink()
    served.app.extensions["etchweb works"] = works


def ended_at(no_memory: Path) -> Launch:
    """Return what starts a worker that comes so far, and is ended for want of memory.

    It waits for the file `no_memory`; one begun again finds it there.
    """
    program = (
        "import os, signal, sys, time\n"
        "print('{\"share\": 0.4}', flush=True)\n"
        "while not os.path.exists(sys.argv[1]):\n    time.sleep(0.01)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )

    def launch(_program: ChildProgram) -> "subprocess.Popen[bytes]":
        return subprocess.Popen(
            [sys.executable, "-P", "-c", program, str(no_memory)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )

    return launch


def sign_and_mural(served: ServedPage) -> Iterator[Visit]:
    """Yield the steps in which a sign and a picture over four tiles differ from a picture."""
    drafts, works = (served.app.extensions[f"etchweb {name}"] for name in ("drafts", "works"))
    pairs = ask_pairs(served.daemon)
    chosen = {"pair": json.dumps([HEAD.name, SURFACE.name]), "width_mm": "60", "height_mm": "40"}
    sign = with_tile(drafts.begin_sign(), MultiDict(chosen), pairs)
    drafts.keep(replace(sign, decoration=replace(sign.decoration, text="No 7")))
    photo = next(one for one in drafts.all() if not one.is_sign)
    wall = {"columns": "2", "rows": "2", "joint_mm": "2"}
    mural = with_tile(photo, MultiDict(chosen | wall), pairs)
    drafts.keep(mural)
    for draft, name in ((drafts.find(sign.id), "sign"), (mural, "mural")):
        verb = "make" if name == "sign" else "mural"
        making = works.begin(drafts.folder_of(draft.id), verb, draft.found_key)
        assert making.over.wait(PATIENCE_S)
        for step in ("tile", "design", "proof") if name == "sign" else ("tile", "cut", "proof"):
            yield Visit(name=f"{name}, {step}", path=f"/new/{draft.id}/{step}")


def away(served: ServedPage) -> Iterator[Visit]:
    """Yield what is shown while the control program does not answer."""
    served.daemon.go_away()
    for name, path in {"watch": "/", "logbook": "/logbook", "machine": "/machine"}.items():
        yield Visit(name=f"{name}, away", path=path)
    served.daemon.come_back()


def judged(**params: Any) -> dict[str, Any]:
    """Answer `run`: etch 6 was judged."""
    run = answer_run(**params)
    return run | ({"verdicts": [JUDGED], "verdict": "banded"} if params["id"] == 6 else {})


def draw_paths(served: ServedPage, picture: Any) -> None:
    """Have a picture of the head's path beside that of the tile."""
    picture.save(served.app.extensions["etchweb"].pictures / path_name(SHA256))
