"""How fast the box is: `pytest -m measure tests/measure/interlock_latency_test.py -s` prints it.

One table, taken while twenty phones look at the page, a photo is prepared and every commit of
the logbook lasts a tenth of a second longer. From the (mock) pin to the beam enable's pin: edges
come as with lgpio, by a thread that waits on a pipe. From the board to the serial wire: feed hold
for a trip, reset for an emergency, the window being full. Wanted at the 99th percentile: 2 ms
(10 ms at the 99.9th), 15 ms and 5 ms; 20 ms for the poll alone; a heartbeat that stops within
100 ms, of a loop that hangs as of a flame, where a welded beam contact leaves the rest to the
monostable.
"""

import statistics
import threading
import time
from contextlib import ExitStack

import pytest

from etchdaemon.hardware.looking import looking
from etchpractice.box.board import BEAM_CONTACT, HEARTBEAT_S
from measure.busy_box import busy_box
from measure.costs import heading, tell
from measure.live_rig import LiveRig
from measure.mock_box import OUTPUTS, MockBox, until
from rig.bench import patch

pytestmark = pytest.mark.measure

TIMES = {True: 2000, False: 200}  # with edges, and by the poll alone
RUNS = 40
WELDED = 20
BLOCKED = 10
PATIENCE_S = 10.0


@pytest.fixture(scope="module")
def logbook(tmp_path_factory):
    with busy_box(tmp_path_factory.mktemp("busy")) as logbook:
        yield logbook


@pytest.fixture(scope="module")
def told(logbook):
    """Gather the lines, and print one table of them at the end."""
    lines = []
    yield lambda title, lasted_ms: lines.append((title, sorted(lasted_ms)))
    heading("page, photo and slow disk beside it")
    for title, lasted_ms in lines:
        tell(title, lasted_ms)


@pytest.mark.parametrize("has_edges", [True, False], ids=["edges and poll", "poll alone"])
def test_from_the_lids_pin_to_the_beam_enables_pin(told, has_edges):
    out_ms, woken_ms = [], []
    with ExitStack() as stack:
        box = MockBox(stack, has_edges=has_edges)
        box.get_ready()
        for number in range(TIMES[has_edges]):
            box.burn()
            time.sleep(0.005 + number % 10 / 1000)  # anywhere between two looks
            box.beam.went_low.clear()
            opened_at_s = time.perf_counter()
            box.open_lid()
            assert box.beam.went_low.wait(PATIENCE_S)
            until(lambda since_s=opened_at_s: box.woken_at_s > since_s)
            out_ms.append((box.beam.at_s - opened_at_s) * 1000)
            woken_ms.append((box.woken_at_s - opened_at_s) * 1000)
            box.reset()

    how = "lid's edge" if has_edges else "lid, edges lost,"
    told(f"{how} to the beam enable's pin", out_ms)
    told(f"{how} to the bell of whoever steers", woken_ms)
    assert len(out_ms) == TIMES[has_edges]


@pytest.mark.parametrize(
    ("name", "byte", "what"),
    [("lid", b"!", "feed hold"), ("stop_circuit", b"\x18", "reset")],
)
def test_from_the_board_to_the_serial_wire(told, logbook, tmp_path, name, byte, what):
    taken_ms = []
    for number in range(RUNS):
        folder = tmp_path / str(number)
        folder.mkdir()
        with LiveRig(folder, logbook) as rig:
            rig.run_live()
            with looking(rig.guard.monitor.look, rig.bell):
                rig.start(rig.make_job(patch(40, 400)))
                until(lambda rig=rig: rig.run is not None)  # an answer may be sooner than a look
                until(lambda rig=rig: rig.run.etched_rows >= 1 or rig.run.ended)
                assert rig.run.ended is None, rig.run.because
                time.sleep(number % 10 / 1000)
                rig.sent_at_s.clear()
                opened_at_s = time.perf_counter()
                rig.live.open(name)
                until(lambda rig=rig: byte in rig.sent_at_s)
                taken_ms.append((rig.sent_at_s[byte] - opened_at_s) * 1000)
            rig.stop_live()

    told(f"“{name}”, window full, to the {what} on the wire", taken_ms)
    assert len(taken_ms) == RUNS


def test_from_a_flame_to_the_beam_where_the_beams_contact_is_welded(told, logbook, tmp_path):
    beat_ms, out_ms = [], []
    for number in range(WELDED):
        folder = tmp_path / str(number)
        folder.mkdir()
        with LiveRig(folder, logbook) as rig:
            rig.run_live()
            with looking(rig.guard.monitor.look, rig.bell):
                rig.start(rig.make_job(patch(40, 400)))
                until(lambda rig=rig: rig.run is not None)
                until(lambda rig=rig: rig.run.etched_rows >= 1 or rig.run.ended)
                with rig.lock:
                    rig.board.weld(BEAM_CONTACT)
                opened_at_s = time.perf_counter()
                rig.live.open("flame")
                while rig.board.is_beam_enabled:
                    time.sleep(0.001)
                out_ms.append((time.perf_counter() - opened_at_s) * 1000)
                beat_ms.append((rig.live.beat_at_s - opened_at_s) * 1000)
            rig.stop_live()

    told("flame, beam's contact welded, to the last heartbeat", beat_ms)
    told(f"the same to the beam off, monostable of {HEARTBEAT_S * 1000:g} ms", out_ms)


def test_the_heartbeat_stops_with_the_loop(told):
    stopped_ms = []
    with ExitStack() as stack:
        box = MockBox(stack)
        heart = box.line(OUTPUTS["heartbeat"])
        for _ in range(BLOCKED):
            until(lambda: len(heart.states) > 5)
            box.stop_loop_signs()
            blocked_at_s = time.monotonic()
            time.sleep(0.3)
            beats = heart.states[-1]
            stopped_ms.append((heart._last_change - blocked_at_s) * 1000)
            assert beats is heart.states[-1]
            box.is_steering = True
            box.steering = threading.Thread(target=box.steer)
            box.steering.start()
            heart.clear_states()

    told("blocked loop to the heartbeat's last beat", stopped_ms)


def test_what_a_look_costs(told):
    with ExitStack() as stack:
        box = MockBox(stack)
        box.stop_loop_signs()
        looks_ms = []
        for _ in range(2000):
            before_s = time.perf_counter()
            box.guard.monitor.look()
            looks_ms.append((time.perf_counter() - before_s) * 1000)

    told("one look on four inputs", looks_ms)
    print(f"\na hundred looks a second: {statistics.mean(looks_ms) * 100 / 10:.2f} % of a core")
