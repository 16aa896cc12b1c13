"""Days at practice boxes, in moved time: every method asked, every state seen once."""

import json
import threading
from dataclasses import replace

from etchdaemon.interlocks.attendance.watch_rounds import AttendanceRules
from etchdaemon.interlocks.setup import Setup
from etchdaemon.logbook.read.recall import last_origin
from etchpath.foreign_job import write_foreign_job
from etchpractice.machine import PracticeMachine
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_SURFACE
from etchwire.packing import pack
from golden.box import GoldenBox
from rig.bench import KEPT_UP_WITH, patch
from support.harnesses.interlock_bench import ANSWERS
from support.samples.sheets import JIG_TABLE

HEAD = PRACTICE_HEADS["practice-20w"]
PAIR = {"head": HEAD.name, "surface": PRACTICE_SURFACE}
NOT_MOVED = "tile and head have not moved"
SETTINGS = {"feed_mm_per_min": 3000.0, "power_ratio": 0.5, "line_spacing_mm": 0.1}
CURVE = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.4, 1.0]}
LOT = {
    "name": "lot 7", "surface": "box", "painted_at_utc": "2025-01-01T17:00:00+00:00",
    "box": "9", "can": "3", "coats": 2, "tiles": 12, "width_mm": 100.2, "weight_gained_g": 31.5,
}  # fmt: skip
ORDER = {
    "customer": "Ada", "due_on": "2026-12-01", "note": "by post",
    "items": [
        {"title": "a dog", "width_mm": 90.0, "height_mm": 90.0, "surface": "box", "count": 2,
         "place": "coaster", "text": "Rex 1999", "price": 15.0},
    ],
}  # fmt: skip
HOMING = {22: 1.0}
ROWS = 10
# Our own hatching, as another program would write it.
FOREIGN = "G21G90G94\nM4S0\nF1500\n" + "".join(
    f"G0X5Y{5 + 0.5 * n:g}\nG1X20S600\n" for n in range(8)
) + "M5\nG0X0Y0\nM2\n"  # fmt: skip


class WithRounds(GoldenBox):
    """Asks for somebody every 3 s, and for a look 6 s after the end."""

    def make_setup(self):
        rules = AttendanceRules(round_every_min=0.05, answer_within_min=0.02, look_every_min=0.1)
        return replace(super().make_setup(), attendance=rules)


class Unwired(GoldenBox):
    """Only watches: nothing is wired."""

    def make_setup(self):
        return Setup(wired=frozenset())


def small_job(box):
    """Return the folder of a job of ten rows of 20 mm, which the controller keeps up with."""
    return box.make_job(patch(ROWS, 200), feed_mm_per_min=KEPT_UP_WITH)


def arm(box):
    box.can("arm")
    box.call("arm", answers=ANSWERS)
    box.press_button()
    box.can("start")


def etch(box, row=4):
    """Arm, start, and come into a row's middle."""
    if box.state != "armed":
        arm(box)
    box.call("start")
    box.wait_until(lambda: box.run.row == row)
    box.wait(0.2)


def day_of_etching(box):
    """From the first look to a run that is taken up again, holds and stops between."""
    box.note_snapshot("starting")
    box.call("status")
    box.call("set_feed", percent=110)
    box.call("set_dose", percent=110)
    box.call("resume")
    box.get_ready()
    box.note_snapshot("idle, without origin")
    for question in ("status", "settings", "wiring"):
        box.call(question)
    box.subscribe()
    box.call("try_output", name="lamp")
    box.call("try_output", name="laser")
    box.call("bed_touched")
    box.call("unload")
    box.call("start")
    box.can("set_origin")
    box.call("set_origin")
    box.wait(0.5)
    box.note_snapshot("idle")
    moves(box)
    job = small_job(box)
    box.hand_in(job)
    box.wait(0.5)
    box.note_snapshot("loaded")
    box.call("unload")
    box.hand_in(job)
    box.can("trace_outline")
    box.call("trace_outline", with_run_ups=True)
    box.wait(0.1)
    box.come_to_rest()
    box.call("arm", answers={"dry": True})
    box.can("arm")
    box.call("arm", answers=ANSWERS, test_heartbeat=True)
    box.wait(0.3)
    box.note_snapshot("arming, the heartbeat tested")
    box.wait(1.0)
    box.note_snapshot("arming, waiting for somebody")
    box.press_button()
    box.can("start")
    box.note_snapshot("armed")
    box.call("disarm")
    box.wait(0.1)
    holds_and_stop(box)
    taken_up_again(box)
    box.call("backups", when="before any")
    box.call("backup")
    finished = threading.Event()
    while box.logbook.ask("backups")["share"] is not None:
        finished.wait(0.02)  # nobody sets it: the copying thread takes its own time
    box.call("backups", when="after one")


def moves(box):
    box.can("move_to")
    box.call("move_to", x_mm=30, y_mm=12.5)
    box.wait(0.2)
    box.note_snapshot("moving")
    box.come_to_rest()
    box.note_snapshot("moved")
    box.call("move_to", x_mm=500.0, y_mm=0.0)
    box.call("move_by", x_mm=-30.0, y_mm=-12.5)
    box.wait(0.1)
    box.call("stop", when="moving")
    box.come_to_rest()
    box.call("move_to", x_mm=0.0, y_mm=0.0)
    box.come_to_rest()
    box.can("measure")
    box.call("measure")
    box.wait(0.5)
    box.note_snapshot("measuring")
    box.come_to_rest()
    box.call("settings", when="measured")
    box.note_snapshot("measured")
    box.can("move_to")
    box.call("move_to", x_mm=0.0, y_mm=0.0)
    box.come_to_rest()


def holds_and_stop(box):
    etch(box)
    box.note_snapshot("etching")
    box.call("load")
    box.call("set_feed", percent=110)
    box.call("set_power", percent=90)
    box.call("set_power", percent=900)
    box.wait(0.3)
    box.note_snapshot("etching with overrides")
    box.call("set_dose", percent=120)
    box.call("set_dose", percent=900)
    box.call("hold")
    box.note_snapshot("holding")
    box.wait_until(lambda: box.state == "held")
    box.note_snapshot("held")
    box.call("resume", when="held, by a phone alone")
    box.press_button()
    box.call("resume")
    box.note_snapshot("resuming")
    box.wait_until(lambda: box.state == "etching")
    box.wait(0.5)
    box.call("hold_now")
    box.call("unfinished", run=1, when="under way")
    box.wait_until(lambda: box.state == "held")
    box.press_button()
    box.call("resume")
    box.wait_until(lambda: box.state == "etching")
    box.wait(0.3)
    box.call("stop")
    box.note_snapshot("stopping")
    box.wait_for_the_end()
    box.get_ready()
    box.wait(0.5)
    box.note_snapshot("ended, stopped")
    box.call("stop")
    box.call("hold")


def taken_up_again(box):
    """Take run 1 up; then let run 2 etch to its end."""
    box.call("unfinished", run=1)
    box.call("unfinished", run=1, row=7)
    box.call("unfinished", run=99)
    box.call("reenter", run=1, confirm="yes")
    box.can("reenter")
    box.call("reenter", run=1, confirm=NOT_MOVED)
    box.wait(0.5)
    box.note_snapshot("loaded, the rest of a run")
    arm(box)
    box.call("start")
    box.wait_until(lambda: box.run.row == ROWS - 1)
    box.note_snapshot("etching the rest of a run")
    box.wait_for_the_end()
    box.wait(1.0)
    box.note_snapshot("ended, complete")
    box.call("unfinished", run=1, when="taken up")


def day_of_craft(box):
    """Ask and note everything of the craft, with two etches of a card between."""
    box.get_ready()
    for method, params in (
        ("save_head", {"head": HEAD.to_table() | {"name": "shed"}, "notes": "mine, über alles"}),
        ("save_head", {"head": {"name": "shed"}}),
        ("wipe_lens", {"head": HEAD.name}),
        ("wipe_lens", {"head": "nobody's"}),
        ("change_filter", {}),
        ("save_surface", {"surface": {"name": "box", "batch": "7", "coats": 2}}),
        ("save_surface", {"surface": {"name": "box", "coated_on": "yesterday"}}),
        ("save_lot", {"lot": LOT}),
        ("save_lot", {"lot": LOT | {"surface": "nobody's"}}),
        ("save_lot", {"lot": LOT | {"painted_at_utc": "yesterday"}}),
        ("save_order", {"order": ORDER}),
        ("save_order", {"order": ORDER | {"customer": ""}}),
        ("save_order", {"order": ORDER | {"note": "a"}, "id": 1, "version": 7}),
        ("add_orders", {"orders_packed": pack(json.dumps([ORDER, ORDER]))}),
        ("add_orders", {"orders_packed": "not packed"}),
        ("note_proof", {"item": 1, "answer": "shown", "design_sha256": "cd" * 32, "draft": "d"}),
        ("note_proof", {"item": 1, "answer": "yes", "shown_sha256": "ab" * 32}),
        ("note_proof", {"item": 9, "answer": "no"}),
        ("forget_order", {"id": 2}),
        ("forget_order", {"id": 9}),
        ("save_shop", {"figures": {"machine_per_h": 2.5, "tile": 1.2}}),
        ("save_jig", {"jig": JIG_TABLE}),
        ("save_jig", {"jig": JIG_TABLE | {"rows": 0}}),
        ("save_recipe", {"recipe": {**PAIR, **SETTINGS, "tone_curve": CURVE}}),
        ("save_recipe", {"recipe": {**PAIR, "surface": "slate", **SETTINGS}}),
        ("retire_recipe", {"id": 4}),
        ("retire_recipe", {"id": 4}),
    ):
        box.call(method, **params, who="Ada")
    box.set_origin()
    job = small_job(box)
    box.hand_in(job)
    sha256 = box.commands.snapshot().job.sha256
    card = {"number": 1, "kind": "power", **PAIR, "gcode_sha256": sha256, "layout_packed": "packed"}
    box.call("save_card", card=card, who="Ada")
    box.call("save_card", card=card)
    box.call("assign_tile", lot="lot 7", gcode_sha256=sha256, who="Ada")
    box.call("assign_tile", lot="lot 9", gcode_sha256=sha256)
    box.call("assign_tile", lot="lot 7", run=99)
    box.call("assign_tile", lot="lot 7")
    etch(box, row=1)
    box.wait_for_the_end()
    reading = {
        "card": 1,
        "way": "camera",
        "marks": {"B2": "good"},
        "photos": ["1.jpg"],
        "measured_packed": "packed",
        "summary": {"lightness_at_recipe": 31.5},
        "recommended": {"recipe": SETTINGS},
    }
    box.call("save_reading", reading=reading, who="Ada")
    box.call("save_reading", reading=reading | {"card": 9})
    box.call("accept_reading", reading=1, chosen={"recipe": SETTINGS}, who="Ada")
    box.call("accept_reading", reading=2, chosen={"recipe": SETTINGS})
    box.call("accept_reading", reading=1, chosen={})
    box.call("save_verdict", run=1, verdict="good", note="as it should be", who="Ada")
    box.call("save_verdict", run=1, verdict="fine")
    ask_logbook(box)


def ask_logbook(box):
    for method, params in (
        ("heads", {}),
        ("filter", {}),
        ("surfaces", {}),
        ("lots", {}),
        ("orders", {}),
        ("orders", {"is_done": True, "from_place": 1, "limit": 1}),
        ("order", {"id": 1}),
        ("order", {"id": 9}),
        ("shop", {}),
        ("jigs", {}),
        ("recipes", {}),
        ("recipes", PAIR),
        ("cards", {}),
        ("card", {"number": 1}),
        ("card", {"number": 9}),
        ("readings", {}),
        ("readings", {"card": 1, "limit": 1}),
        ("reading", {"id": 1}),
        ("reading", {"id": 9}),
        ("time_line", PAIR),
        ("history", PAIR),
        ("history", {"head": "nobody's", "surface": "slate"}),
        ("runs", {}),
        ("runs", {"text": "slate", "since": "2026-01-01", "limit": 1}),
        ("run", {"id": 1}),
        ("run", {"id": 99}),
        ("run_rows", {"id": 1, "limit": 4}),
        ("run_rows", {"id": 1, "from_row": 8}),
        ("run_events", {"id": 1}),
        ("run_events", {"id": 1, "after": 2, "limit": 1}),
    ):
        box.call(method, when="after an etch of a card", **params)
    box.run_record = box.logbook.run_record(1)


def day_of_faults(box):
    """A trip, a refused line, a cable that is pulled, a logbook without room."""
    box.set_origin()
    box.hand_in(small_job(box))
    etch(box)
    box.board.open_lid()
    box.wait_for_the_end()
    box.wait(0.5)
    box.note_snapshot("tripped")
    box.call("reset", names=["fumes"])
    box.call("reset", names=["lid closed"], when="the lid is open")
    box.board.close_lid()
    box.wait(1.0)
    box.call("reset", names=["lid closed"])
    box.wait(0.1)
    box.note_snapshot("reset")
    etch(box, row=2)
    box.machine.faults.refuse_next_line(20)
    box.wait_for_the_end()
    box.get_ready()
    box.wait(0.5)
    box.note_snapshot("ended, failed")
    etch(box, row=2)
    box.machine.unplug()
    box.wait_for_the_end()
    box.wait(1.0)
    box.note_snapshot("ended, cable lost")
    box.machine.plug_in()
    box.get_ready()
    box.can("set_origin")
    box.note_snapshot("origin lost")
    box.call("find_origin")
    box.board.set_input("stop_circuit", level=False)
    box.wait(0.5)
    box.note_snapshot("stop button pressed")
    box.call("move_to", x_mm=1.0, y_mm=1.0, when="stop button pressed")


def day_of_checks(box):
    """What the check of a file finds, and a file of another program's that is cut."""
    box.set_origin()
    box.preflight.find("constant power", "acknowledge")
    box.hand_in(small_job(box))
    box.wait(0.5)
    box.note_snapshot("loaded, something to acknowledge")
    box.preflight.find("pause", "refused")
    box.preflight.is_slow = True
    box.hand_in(small_job(box))
    box.note_snapshot("loaded, being checked")
    box.preflight.finish()
    box.wait(0.5)
    box.note_snapshot("loaded, refused by its check")
    box.call("arm", answers=ANSWERS)
    box.preflight.findings.clear()
    box.preflight.is_slow = False
    source, folder = box.folder / "given.nc", box.folder / "given"
    source.write_text(FOREIGN)
    folder.mkdir()
    write_foreign_job(source, folder, head=HEAD, surface=PRACTICE_SURFACE)
    box.hand_in(folder)
    box.wait(0.5)
    box.note_snapshot("loaded, another program's")
    arm(box)
    box.call("start")
    box.wait_until(lambda: box.run.share > 0.3 and 8 < box.machine.head_mm[0] < 15)
    box.call("stop")
    box.wait_for_the_end()
    box.get_ready()
    box.call("unfinished", run=1, when="another program's")
    box.call("reenter", run=1, confirm=NOT_MOVED, when="another program's")
    box.call("reenter", run=1, confirm=NOT_MOVED, accept_gap=True, when="another program's")


def day_with_switches(box):
    """A machine that wakes up locked, is unlocked, is homed, and finds its origin again."""
    box.can("home")
    box.note_snapshot("locked")
    box.call("move_to", x_mm=1.0, y_mm=1.0, when="locked")
    box.call("unlock")
    box.come_to_rest()
    box.can("home")
    box.call("home")
    box.wait(0.5)
    box.note_snapshot("homing")
    box.come_to_rest()
    box.note_snapshot("homed")
    box.can("set_origin")
    box.call("set_origin")
    box.wait(0.5)
    box.machine.lose_power()
    box.wait(1.0)
    box.note_snapshot("machine without power")
    box.machine.get_power()
    box.wait(2.0)
    box.can("home")
    box.call("home")
    box.come_to_rest()
    box.service.recall_origin(box.logbook.recall(last_origin))
    box.can("find_origin")
    box.note_snapshot("an origin to be found")
    box.call("find_origin")
    box.wait(0.5)


def day_of_rounds(box):
    """Somebody is asked for during an etch and after it."""
    box.set_origin()
    box.hand_in(box.make_job(patch(30, 400)))
    box.call("answer_round")
    etch(box, row=0)
    box.wait_until(lambda: box.box.asked_for is not None)
    box.note_snapshot("etching, somebody is asked for")
    box.call("answer_round")
    box.wait_until(lambda: box.state == "held")
    box.note_snapshot("held, nobody came")
    box.call("stop")
    box.wait_for_the_end()
    box.wait_until(lambda: box.box.is_look_asked)
    box.note_snapshot("ended, a look is asked for")


def day_of_watching(box):
    """A daemon that only watches."""
    box.get_ready()
    box.wait(0.5)
    box.note_snapshot("only watches")
    box.call("set_origin", when="only watches")
    box.call("wiring", when="only watches")
    box.call("confirmations", lasts_s=2460.0)


DAYS = {
    "etching": (day_of_etching, GoldenBox, {}),
    "craft": (day_of_craft, GoldenBox, {}),
    "faults": (day_of_faults, GoldenBox, {}),
    "checks": (day_of_checks, GoldenBox, {}),
    "switches": (day_with_switches, GoldenBox, {"settings": HOMING}),
    "rounds": (day_of_rounds, WithRounds, {}),
    "watching": (day_of_watching, Unwired, {"firmware": "32-bit"}),
}


def live(name, folder):
    """Live the day of that name and return its box, whose daemon has ended."""
    day, kind, machine = DAYS[name]
    with kind(folder, PracticeMachine(**machine)) as box:
        day(box)
        return box
