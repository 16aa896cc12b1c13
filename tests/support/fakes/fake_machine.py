"""What the fake daemon says of the machine itself: settings that matter, and the wires."""

from typing import Any, Final

BED: Final = {
    "left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 400.0, "top_mm": 300.0, "is_homed": False,
}  # fmt: skip
ORIGIN: Final = {"is_known": True, "epoch": 3, "sentence": "", "again": None}
AT_REST: Final = {
    "bed": BED, "is_moving": False, "moved": "", "is_practice": False, "origin": ORIGIN,
}  # fmt: skip

SETTINGS: Final = {
    "is_read": True,
    "firmware": "8-bit, 1.1",
    "version": "1.1h",
    "settings": [
        {"name": "laser mode", "numbers": [32], "values": ["1"], "unit": "", "is_good": True,
         "sentence": "The beam goes dark whenever the head does not move as it is told."},
        {"name": "motors at rest", "numbers": [1], "values": ["25"], "unit": "ms",
         "is_good": False, "sentence": "The motors let go so long after every move."},
        {"name": "greatest speed", "numbers": [110, 111], "values": ["10000.000", None],
         "unit": "mm/min", "is_good": False, "sentence": "The controller does not say."},
    ],
    "controller": {
        "is_measured": True,
        "sentence": "Measured. Dots of 0.1 mm: single dots up to 2250 mm/min.",
        "dots": [{"dots": 1, "mm_per_min": 2250.0}],
        "planner_blocks": 15,
        "line_ms": 1.6,
    },
    "refusals": [],
    "warnings": ["The motors let go whenever the head rests."],
}  # fmt: skip


def contact(name: str, label: str, **more: Any) -> dict[str, Any]:
    """Return an input that is closed and as it should be, with `more` laid over it."""
    good = {
        "is_wired": True, "is_closed": True, "is_safe": True, "for_s": 12.4,
        "words": "The lid is closed.",
    }  # fmt: skip
    return {"name": name, "label": label, **good, **more}


def output(name: str, label: str, **more: Any) -> dict[str, Any]:
    """Return an output that is off and may be tried, with `more` laid over it."""
    off = {
        "is_wired": True, "is_on": False, "can_be_tried": True, "is_tried_for_s": None,
        "words": f"The {name} is seen or heard for five seconds.",
    }  # fmt: skip
    return {"name": name, "label": label, **off, **more}


WIRING: Final = {
    "inputs": [
        contact("lid", "Lid"),
        contact("flame", "Flame and smoke", is_closed=False, is_safe=False, words="It is on fire."),
        contact("arm_button", "Button at the machine", is_safe=None, words="It is pressed."),
        contact("temperature", "Temperature", is_wired=False, is_closed=None, is_safe=None,
                for_s=None, words="Not wired."),
    ],
    "outputs": [
        output("beam_enable", "Beam enable", can_be_tried=False),
        output("lamp", "Lamp"),
        output("buzzer", "Buzzer", is_on=True, is_tried_for_s=3.2),
        output("heartbeat", "Heartbeat", is_wired=False, can_be_tried=False),
    ],
    "can_be_tried": True,
}  # fmt: skip
