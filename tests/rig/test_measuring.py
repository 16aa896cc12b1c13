"""The controller in front of us, measured: how fast it takes in lines, and what follows from it."""

import pytest

from etchdaemon.errors import CommandRefused
from etchdaemon.rpc.dispatcher import Dispatcher
from etchdaemon.run.measuring import WAY_MM
from etchdaemon.service.link.measured import MeasuredController
from etchwire.calls.catalogue import HeadEntry, HeadList, Heads
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.controller.profile import EIGHT_BIT, THIRTY_TWO_BIT
from support.samples.cycle_figures import WITHIN

pytestmark = pytest.mark.slow


def shown(rig):
    return rig.ask("settings")["controller"]


def measure(rig):
    rig.get_ready()
    rig.set_origin()
    rig.wait_until(lambda: "measure" in rig.commands.snapshot().may)
    before_mm = rig.machine.head_mm
    rig.ask("measure")
    rig.wait_until(lambda: not rig.commands.snapshot().machine.is_moving, within_s=60.0)
    assert rig.machine.head_mm[0] == pytest.approx(before_mm[0], abs=0.1)


def test_an_8_bit_controller_is_found_to_take_in_single_dots_up_to_2400(rig):
    """F2400 ran full and exact, F2500 did not, in a cycle-accurate run of the firmware image."""
    measure(rig)

    found = shown(rig)

    assert found["is_measured"]
    assert found["dots"][0]["mm_per_min"] == pytest.approx(2400, rel=WITHIN)
    assert "single dots up to 2" in found["sentence"]
    assert not rig.contact.is_closed


@pytest.mark.parametrize("factor", [0.6, 1.5])
def test_a_controller_faster_or_slower_than_its_kind_is_found_so(rig_of, factor):
    rig = rig_of(costs=EIGHT_BIT.costs.times(factor))
    rig.get_ready()
    before_ms = shown(rig)["line_ms"]

    measure(rig)

    usual_ms = 1000 * (740e-6 + 440e-6 + 330e-6)
    assert shown(rig)["line_ms"] == pytest.approx(factor * usual_ms, rel=0.05)
    assert before_ms != shown(rig)["line_ms"]


def test_a_controller_that_the_cable_holds_up_is_at_least_as_fast_as_assumed(rig_of):
    rig = rig_of(firmware="32-bit")

    measure(rig)

    costs = THIRTY_TWO_BIT.costs
    usual_ms = 1000 * (costs.read_s + costs.answer_s + costs.level_segment_s)
    assert shown(rig)["is_measured"]
    assert shown(rig)["line_ms"] == pytest.approx(usual_ms, rel=0.01)


def test_the_beam_s_contact_stays_open_and_the_head_within_its_way(rig):
    rig.get_ready()
    rig.set_origin()
    rig.wait_until(lambda: "measure" in rig.commands.snapshot().may)
    at_mm = rig.machine.head_mm[0]
    rig.ask("measure")
    reached = []
    while rig.commands.snapshot().machine.is_moving:
        rig.step()
        assert not rig.contact.is_closed
        reached.append(rig.machine.head_mm[0] - at_mm)

    assert max(reached) == pytest.approx(WAY_MM, abs=0.2)
    assert min(reached) > -0.2


def test_it_is_asked_for_again_after_other_settings(rig):
    measure(rig)
    assert shown(rig)["is_measured"]

    rig.machine.controller.engine.settings[120] = 500.0
    rig.machine.controller.engine.planner.take_settings()
    rig.machine.brown_out()
    rig.wait(5.0)
    rig.get_ready()

    assert not shown(rig)["is_measured"]
    assert "Not measured" in shown(rig)["sentence"]


def test_what_was_measured_outlives_a_restart_and_a_damaged_file_is_no_harm(rig, tmp_path):
    rig.daemon_machine.measured = MeasuredController(tmp_path)
    assert not (tmp_path / "controller.json").exists()

    measure(rig)
    facts = rig.daemon_machine.facts
    assert MeasuredController(tmp_path).profile(facts).is_measured

    (tmp_path / "controller.json").write_bytes(b"\x00{")
    assert not MeasuredController(tmp_path).profile(facts).is_measured


def test_a_stop_ends_it_where_the_head_is_with_its_place_known(rig):
    rig.get_ready()
    rig.set_origin()
    rig.wait_until(lambda: "measure" in rig.commands.snapshot().may)
    rig.ask("measure")
    rig.wait(1.0)

    rig.ask("stop")
    rig.wait_until(lambda: not rig.commands.snapshot().machine.is_moving, within_s=3.0)

    assert not shown(rig)["is_measured"]
    rig.wait_until(lambda: "measure" in rig.commands.snapshot().may, within_s=20.0)


def test_during_an_etch_nothing_is_measured(rig):
    rig.start()
    rig.etch_until_row(1)

    with pytest.raises(CommandRefused):
        rig.ask("measure")


def test_a_measured_controller_changes_what_is_described_to_the_preflight(rig_of):
    """A controller twice as slow as its kind: the same file is described with its own costs."""
    rig = rig_of(costs=EIGHT_BIT.costs.times(2.0))
    measure(rig)
    rig.load()
    rig.wait(0.5)

    described = rig.preflight.machines[-1]

    read_s = EIGHT_BIT.costs.read_s
    assert described["costs"]["read_s"] == pytest.approx(2 * read_s, rel=0.05)


def test_the_heads_are_told_with_the_controller_that_carries_them(rig_of):
    """So the writer, the cards and the sheet's promise reckon with it too."""
    rig = rig_of(costs=EIGHT_BIT.costs.times(2.0))
    measure(rig)

    controller = rig.commands.snapshot().machine.controller

    assert controller.is_measured
    assert controller.costs.read_s == pytest.approx(2 * EIGHT_BIT.costs.read_s, rel=0.05)
    dispatcher = Dispatcher(rig.folder / "socket", rig.commands, _History())
    assert dispatcher._heads(Heads()).heads[0].head.controller == controller


class _History:
    def ask(self, _call):
        head = PRACTICE_HEADS["practice-20w"]
        entry = HeadEntry(
            name=head.name,
            head=head,
            notes="",
            is_practice=True,
            who="practice",
            changed_at_utc="2026-01-01T00:00:00Z",
            beam_s=0.0,
            lens_wiped_at_utc=None,
            spot_found=None,
            beam_since_wipe_s=None,
        )
        return HeadList(heads=(entry,))


@pytest.mark.parametrize("firmware", ["8-bit", "32-bit"])
def test_nothing_is_sent_while_the_controller_writes_its_memory(rig_of, firmware):
    """The port is deaf for 26 to 30 ms while the origin is written (cycle-accurate run)."""
    rig = rig_of(firmware=firmware)
    rig.get_ready()

    rig.set_origin()
    rig.wait(1.0)

    assert rig.machine.controller.engine.receive.lost_bytes == 0
