"""What a practice machine answered beside what was recorded, as far as timing leaves it alone."""

from difflib import unified_diff

from support.harnesses.practice_host import Report
from support.samples.recorded_exchange import Player

SLACK_S = 0.12  # by which a motion may end earlier or later
STOP_PLACE_MM = 8.0  # as far as two stops of one motion may lie apart
READ_AHEAD_BYTES = 2  # of a line cut in two by a hold
ROUNDING_MM = 0.0025
STOPS = ("feed-hold", "door", "jog-cancel", "reset", "stop", "ALARM")
IN_MOTION = ("Run", "Jog", "Home", "Hold:1", "Door:2")
COUNTED = ("WCO", "Ov", "A", "WCS", "H", "TLR")  # shown every so many reports


def differences(exchange):
    """Return in what the practice machine answers `exchange` otherwise than was recorded.

    What is no report is the same and in the same order. Of reports there are as many, and
    what they show is compared as far as it does not hang on timing.
    """
    answers = [entry.text for entry in exchange.entries if entry.kind == "<"]
    heard = Player(exchange).play()
    recorded, shown = reports(answers), reports(heard)
    odd = list(unified_diff(other_than_reports(answers), other_than_reports(heard), n=1))
    if len(recorded) != len(shown):
        odd.append((len(recorded), len(shown)))
    odd += odd_states(exchange, recorded, shown)
    odd += odd_places(exchange, recorded, shown)
    odd += odd_rooms(recorded, shown)
    firsts = {"WCO": "0.000,0.000,0.000", "Ov": "100,100,100", "WCS": "G54"}
    if exchange.is_32_bit:
        firsts["A"] = ""
    else:
        odd += odd_accessories(recorded, shown)
    for name, first in firsts.items():
        values = [counted_fields(which, name, first) for which in (recorded, shown)]
        if values[0] != values[1]:
            odd.append((name, *values))
    return odd


def other_than_reports(lines):
    """Return the answers that are no reports, in order."""
    return [line for line in lines if not line.startswith("<")]


def reports(lines):
    """Return the reports among `lines`, in order."""
    return [Report.of(line) for line in lines if line.startswith("<")]


def odd_states(exchange, recorded, heard):
    """Return the pairs of reports that do not fit together, apart from places and counted fields.

    In motion the state and which fields there are count, at rest their values too. Where either
    moves, the other may be what is seen a little earlier or later.
    """
    times_s = [at_s for entry, at_s in exchange.timed_entries if entry.is_report]
    states = [_state_of(report) for report in recorded]
    odd = []
    for one, other, at_s in zip(recorded, heard, times_s, strict=False):
        wanted = [_state_of(one)]
        if is_in_motion(one) or is_in_motion(other):
            pairs = zip(times_s, states, strict=True)
            wanted = [state for seen_s, state in pairs if abs(seen_s - at_s) <= SLACK_S]
        if _state_of(other) not in wanted:
            odd.append((one, other))
    return odd


def _state_of(report):
    fields = {name: text for name, text in report.items() if name not in COUNTED}
    if is_in_motion(report):
        return dict.fromkeys(fields) | {"state": report["state"].replace("Idle", "Run")}
    fields |= dict.fromkeys(name for name in ("MPos", "WPos") if name in fields)
    return fields | ({"Bf": report.free_blocks} if "Bf" in fields else {})


def is_in_motion(report):
    """Return whether the machine moves, or is about to: blocks wait, and nothing holds them."""
    waits = report["state"] == "Idle" and "Bf" in report and report.free_blocks not in (15, 100)
    return waits or report["state"] in IN_MOTION


def odd_places(exchange, recorded, heard):
    """Return the reports of rest, each with its twin, whose places do not fit together.

    Two stops of one motion do not end at the same place, and all that comes after is shifted.
    """
    stops, pairs, shifts, odd = 0, zip(recorded, heard, strict=False), [(0.0, 0.0, 0.0)], []
    stops_known = 0
    for entry in exchange.entries:
        stops += entry.kind != "#" and entry.text.startswith(STOPS)
        if not entry.is_report or (pair := next(pairs, None)) is None:
            continue
        if any(is_in_motion(report) for report in pair):
            continue
        places = [place_of(report) for report in pair]
        apart = tuple(b - a for a, b in zip(*places, strict=True))
        if not any(_is_near(apart, shift, ROUNDING_MM) for shift in shifts):
            if stops == stops_known or not _is_near(apart, shifts[-1], STOP_PLACE_MM):
                odd.append(pair)
            shifts.append(apart)
            stops_known = stops
    return odd


def odd_rooms(recorded, heard):
    """Return the pairs of reports at rest that do not show the same room for bytes."""
    return [
        (one, other)
        for one, other in zip(recorded, heard, strict=False)
        if "Bf" in one
        and not (is_in_motion(one) or is_in_motion(other))
        and abs(one.free_bytes - other.free_bytes) > READ_AHEAD_BYTES
    ]


def place_of(report):
    """Return the place a report tells, in machine or in work coordinates."""
    return tuple(float(part) for part in report.get("MPos", report.get("WPos")).split(","))


def _is_near(one, other, by_mm):
    return all(abs(a - b) <= by_mm for a, b in zip(one, other, strict=True))


def counted_fields(shown, name, at_first):
    """Return the values that a field which comes by count went through."""
    values = [at_first, *(report[name] for report in shown if name in report)]
    return [
        value for value, before in zip(values, [None, *values], strict=False) if value != before
    ]


def odd_accessories(recorded, heard):
    """Return the pairs of reports at rest that both tell of accessories, and not the same."""
    return [
        (one, other)
        for one, other in zip(recorded, heard, strict=False)
        if "Ov" in one
        and "Ov" in other
        and not (is_in_motion(one) or is_in_motion(other))
        and one.get("A", "") != other.get("A", "")
    ]
