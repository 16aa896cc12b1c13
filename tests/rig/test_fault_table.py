"""Every row of the fault table, on both firmwares, ends as it should and lets the next run be."""

import numpy as np
import pytest

from etchdaemon.controller.firmware import EIGHT_BIT, THIRTY_TWO_BIT
from etchpractice.machine import PracticeMachine
from rig.bench import STEP_S, Rig, light_by_row, patch
from rig.disturbances import DISTURBANCES, make_usable

pytestmark = pytest.mark.slow

ROWS, COLUMNS = 8, 200
BRAKING_S = 4000 / 60 / 1000  # v / a of the job
OUT_WITHIN_S = 0.020
REST_WITHIN_S = 0.15 + BRAKING_S
EMPTY_WITHIN_S = 0.6  # 100 blocks and 127 bytes of tenths at 4000 mm/min, and braking


@pytest.fixture(scope="module", params=["8-bit", "32-bit"])
def firmware(request):
    return request.param


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory, firmware):
    """The light of the same job, etched without a fault."""
    folder = tmp_path_factory.mktemp("undisturbed")
    with Rig(folder, PracticeMachine(firmware=firmware)) as rig:
        rig.start(rig.make_job(patch(ROWS, COLUMNS)))
        rig.wait_for_the_end()
        return light_by_row(rig, ROWS)


class Course:
    """A run that is disturbed, watched at every step: when the beam went out, and the head."""

    def __init__(self, rig, disturbance):
        self.rig = rig
        rig.start(rig.make_job(patch(ROWS, COLUMNS)))
        rig.etch_until_row(3)
        rig.wait(0.3)
        self.begun_s, self.moved_s, self.out_s = rig.machine.now_s, 0.0, None
        disturbance.begin(rig)
        self.watch(lambda: rig.state == "ended", within_s=disturbance.seen_within_s + 10.0)
        self.watch(lambda: rig.machine.now_s > self.out_s + 1.0, within_s=2.0)

    def watch(self, is_over, *, within_s):
        """Step until `is_over()`, and note when the head moved last and the beam went out."""
        rig = self.rig
        until_s = rig.machine.now_s + within_s
        while not is_over():
            assert rig.machine.now_s < until_s, rig.state
            place_mm = rig.machine.head_mm
            rig.step()
            if rig.machine.head_mm != place_mm:
                self.moved_s = rig.machine.now_s
            if self.out_s is None and not rig.contact.is_closed:
                self.out_s = rig.machine.now_s - STEP_S


@pytest.mark.fault("unplugged in motion", "controller reset in mid-run")
@pytest.mark.parametrize("disturbance", DISTURBANCES, ids=lambda disturbance: disturbance.name)
def test_a_fault_ends_the_run_in_the_dark_and_the_next_one_needs_no_restart(
    tmp_path, undisturbed, disturbance, firmware
):
    with Rig(tmp_path, PracticeMachine(firmware=firmware)) as rig:
        course = Course(rig, disturbance)

        _assert_the_beam_was_out_in_time(course, disturbance)
        _assert_the_cause_is_told(rig, disturbance)
        _assert_no_row_is_missing_or_doubled(rig, undisturbed, disturbance)
        _assert_the_place_is_as_it_was_logged(rig, disturbance)
        if disturbance.mend is not None:
            disturbance.mend(rig)
        make_usable(rig)
        rig.ask("start")
        rig.wait_for_the_end()
        assert rig.run.ended == "complete"


def _assert_the_beam_was_out_in_time(course, disturbance):
    rig = course.rig
    found_s = rig.etch.started_at_s + rig.record.event("fault")["at_s"]
    assert found_s - course.begun_s <= disturbance.seen_within_s
    assert course.out_s - found_s <= OUT_WITHIN_S
    if disturbance.leaves_a_port:
        assert course.moved_s - course.out_s <= REST_WITHIN_S
    else:
        assert course.moved_s - course.out_s <= EMPTY_WITHIN_S
    assert not rig.contact.is_closed
    assert not rig.machine.is_burning


def _assert_the_cause_is_told(rig, disturbance):
    assert rig.record.end["ended"] == "failed"
    assert disturbance.says in rig.record.end["because"]
    assert ("osition unknown" not in rig.record.end["because"]) is disturbance.keeps_place


def _assert_no_row_is_missing_or_doubled(rig, undisturbed, disturbance):
    """What counts as etched is, and nothing far behind it; by the record and by the tile."""
    etched = rig.record.end["etched_rows"]
    assert [row.row for row in rig.record.rows] == list(range(etched))
    light, allowed = light_by_row(rig, ROWS), 0.06 * undisturbed.max()
    sure = slice(0, max(0, etched - 1))  # the last one lacks the light of its neighbour
    assert np.abs(light - undisturbed)[sure].max() < allowed
    assert (light < undisturbed + allowed).all() or disturbance.burns_a_spot
    assert light[etched + 3 :].max(initial=0.0) < allowed


def _assert_the_place_is_as_it_was_logged(rig, disturbance):
    """A head whose place is known stays there, whatever lines were still on their way."""
    if disturbance.keeps_place and "cut" in rig.record.kinds():
        rig.wait(2.0)
        place = rig.record.event("cut")["details"]
        assert rig.machine.head_mm[0] == pytest.approx(place["rest_x_mm"], abs=0.1)


ALARMS = [
    (kind, firmware, number)
    for kind, firmware in (("8-bit", EIGHT_BIT), ("32-bit", THIRTY_TWO_BIT))
    for number in (*firmware.alarms, 99)
]


@pytest.mark.fault("each alarm")
@pytest.mark.parametrize(
    ("kind", "firmware", "number"), ALARMS, ids=[f"{kind} {number}" for kind, _, number in ALARMS]
)
def test_every_alarm_puts_the_beam_out_and_says_what_it_means(tmp_path, kind, firmware, number):
    with Rig(tmp_path, PracticeMachine(firmware=kind)) as rig:
        rig.start()
        rig.etch_until_row(1)
        rig.machine.trip_alarm(number)
        rig.wait_until(lambda: not rig.contact.is_closed, within_s=0.05)
        rig.wait_for_the_end(within_s=5.0)

        assert rig.record.end["because"].startswith(str(firmware.alarm(number)))
        assert "osition unknown" in rig.record.end["because"]


@pytest.mark.fault("sticky errors of the 32-bit firmware")
def test_on_the_32_bit_firmware_lines_behind_a_refused_one_come_back_refused_and_count_once(
    rig_of,
):
    """Its errors stick: every later line returns the same one. Measured on a host build."""
    rig = rig_of(firmware="32-bit")
    rig.start(rig.make_job(patch(ROWS, COLUMNS)))
    rig.etch_until_row(3)
    rig.port.damage = (b"X.1S600\n", b"X.1W600\n")
    rig.wait_for_the_end()
    rig.port.damage = None

    assert "'X.1S600'" in rig.record.end["because"]
    assert rig.record.kinds().count("fault") == 1
    make_usable(rig)
    rig.ask("start")
    rig.wait_for_the_end()
    assert rig.run.ended == "complete"


@pytest.mark.fault("machine at 57600 baud")
def test_a_machine_at_half_the_baud_rate_is_no_fault(rig_of):
    """Both ends at 57600 carry more lines than the controller takes in."""
    rig = rig_of(baud=57600)
    rig.start(rig.make_job(patch(ROWS, COLUMNS)))

    rig.wait_for_the_end()

    assert rig.run.ended == "complete"
    assert "starved" not in rig.record.kinds()
