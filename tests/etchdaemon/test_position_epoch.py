"""The position epoch: what ends it, whose greeting a greeting is, and which origin may be used."""

import pytest

from etchdaemon.controller.events import OffsetReported, ParserStateReported, StatusReported
from etchdaemon.controller.facts import Facts
from etchdaemon.controller.firmware import EIGHT_BIT
from etchdaemon.run import position_epoch
from etchdaemon.run.position_epoch import EarlierOrigin, PositionEpoch

ENDS_MM = ((-400.0, -400.0), (0.0, 0.0))
# $# of tests/recordings/11-offsets-set.txt, before its G92; G10 L2 P2 and L20 P1 made it.
OFFSETS = {
    "G54": (9.0, 3.0, 0.0),
    "G55": (3.0, 4.0, 0.0),
    "G56": (0.0, 0.0, 0.0),
    "G57": (0.0, 0.0, 0.0),
    "G58": (0.0, 0.0, 0.0),
    "G59": (0.0, 0.0, 0.0),
    "G28": (10.0, 5.0, 0.0),
    "G92": (0.0, 0.0, 0.0),
    "TLO": (0.0,),
}
PARSER = ("G0", "G54", "G17", "G21", "G90", "G94", "M5", "M9", "T0", "F0", "S0")


def report(x_mm=9.0, y_mm=3.0, state="Idle", substate=None):
    return StatusReported(state=state, substate=substate, machine_mm=(x_mm, y_mm, 0.0))


def facts(*, place=(9.0, 3.0), words=PARSER, **offsets):
    known = Facts(firmware=EIGHT_BIT, greeting="", report=report(*place))
    known = known.with_answer(ParserStateReported(tuple(words)))
    for name, place_mm in (OFFSETS | offsets).items():
        if place_mm is not None:
            known = known.with_answer(OffsetReported(name, place_mm))
    return known


@pytest.fixture
def epoch():
    """An epoch with an origin, 10 s after the port was opened."""
    made = PositionEpoch()
    made.note_opened(0.0)
    assert made.take_origin(facts(), (9.0, 3.0, 0.0)) is None
    made.note_report(report(), is_ours=False)
    return made


# What ends it.


@pytest.mark.parametrize(
    ("happens", "because"),
    [
        (lambda epoch: epoch.note_greeting(10.0), position_epoch.RESTARTED),
        (lambda epoch: epoch.note_opened(10.0), position_epoch.OPENED),
        (lambda epoch: epoch.note_report(report(9.021), is_ours=False), position_epoch.PUSHED),
        (lambda epoch: epoch.note_report(report(9, 2.979), is_ours=False), position_epoch.PUSHED),
        (lambda epoch: epoch.note_report(report(0, 0, "Alarm"), is_ours=False),
         position_epoch.PUSHED),
        (lambda epoch: epoch.end(position_epoch.ALARMED), position_epoch.ALARMED),
    ],
    ids=["greeting", "opened", "pushed in x", "pushed in y", "zero after a power cut", "alarm"],
)  # fmt: skip
def test_an_epoch_ends_and_takes_its_origin_along(epoch, happens, because):
    number = epoch.number

    happens(epoch)

    assert (epoch.number, epoch.because, epoch.origin) == (number + 1, because, None)
    assert because in epoch.request(can_home=False)
    assert "set the origin" in epoch.request(can_home=False)


@pytest.mark.parametrize(
    "happens",
    [
        lambda epoch: epoch.note_report(report(9.019), is_ours=False),
        lambda epoch: epoch.note_report(report(50, state="Run"), is_ours=False),
        lambda epoch: epoch.note_report(report(50, state="Jog"), is_ours=False),
        lambda epoch: epoch.note_report(report(50, state="Hold", substate=1), is_ours=False),
        lambda epoch: epoch.note_report(report(50), is_ours=True),
        lambda epoch: (epoch.note_move(), epoch.note_report(report(50), is_ours=False)),
        lambda epoch: epoch.note_report(StatusReported(state="Idle"), is_ours=False),
    ],
    ids=["within the limit", "in a run", "in a jog", "braking", "ours", "after ours", "no place"],
)
def test_what_ends_no_epoch(epoch, happens):
    number = epoch.number

    happens(epoch)

    assert epoch.number == number
    assert epoch.origin is not None


def test_small_shifts_do_not_add_up_unseen(epoch):
    number = epoch.number

    for x_mm in (9.01, 9.02, 9.03):
        epoch.note_report(report(x_mm), is_ours=False)

    assert epoch.number == number + 1


def test_a_head_pushed_in_motion_is_judged_where_it_rests(epoch):
    epoch.note_report(report(9.5, state="Jog"), is_ours=False)
    epoch.note_report(report(10.0), is_ours=False)

    assert epoch.because == position_epoch.PUSHED


# Whose greeting it is.


@pytest.mark.parametrize(
    ("greets_at_s", "is_kept"),
    [
        ((10.1,), True),
        ((13.0,), True),
        ((13.01,), False),
        ((10.1, 12.9), True),
        ((10.1, 13.1), False),
        ((10.1, 10.2, 10.3), False),
    ],
)
def test_two_greetings_within_three_seconds_belong_to_our_own_reset(epoch, greets_at_s, is_kept):
    epoch.note_reset(10.0)

    for at_s in greets_at_s:
        epoch.note_greeting(at_s)

    assert (epoch.origin is not None) is is_kept


def test_once_the_origin_is_set_no_greeting_belongs_to_the_reset_before_it(epoch):
    epoch.note_reset(10.0)
    epoch.note_greeting(10.1)
    epoch.take_origin(facts(), (9.0, 3.0, 0.0))

    epoch.note_greeting(11.0)

    assert epoch.origin is None


# The origin, as it is read back.


@pytest.mark.parametrize(
    ("found", "place_mm"),
    [
        (facts(), (9.0, 3.003)),
        (facts(G92=(1.0, 0.0, 0.0)), (9.0, 3.0)),
        (facts(TLO=(0.0, 0.0, 2.0)), (9.0, 3.0)),
        (facts(G54=None), (9.0, 3.0)),
        (facts(words=("G55", "M5")), (9.0, 3.0)),
        (facts(), None),
        (Facts(firmware=EIGHT_BIT, greeting="", report=report()), (9.0, 3.0)),
    ],
    ids=["elsewhere", "G92", "tool offset", "no G54", "G55 in force", "no place", "no answers"],
)
def test_an_origin_that_does_not_stand_alone_where_it_should_is_not_taken(epoch, found, place_mm):
    assert epoch.take_origin(found, place_mm)
    assert epoch.origin is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"G54": (9.0, 3.001, 0.0)}, "G54 was 9.000 3.000 0.000 and is 9.000 3.001 0.000"),
        ({"G55": (0.0, 0.0, 0.0)}, "G55 was 3.000"),
        ({"G59": (0.0, 0.0, 1.0)}, "G59 was"),
        ({"G92": (1.0, 2.0, 0.0)}, "G92 was 0.000 0.000 0.000 and is 1.000"),
        ({"TLO": (0.5,)}, "TLO was"),
        ({"TLO": None}, "is not said"),
        ({"words": ("G0", "G55", "M5")}, "G54 was in force and G55 is"),
        ({"words": ()}, "G54 was in force and another is"),
    ],
)
def test_every_offset_and_the_system_in_force_are_compared(epoch, changes, said):
    epoch.read_back(facts(**changes))

    assert epoch.origin is None
    assert said in epoch.request(can_home=False)
    assert "set the origin" in epoch.request(can_home=False)


@pytest.mark.parametrize("changes", [{}, {"G28": (1.0, 1.0, 0.0)}, {"G54": (9.0, 3.0, -0.0)}])
def test_what_shifts_no_job_is_not_compared(epoch, changes):
    epoch.read_back(facts(**changes))

    assert epoch.origin is not None
    assert epoch.request(can_home=True) is None


def test_after_a_power_cut_tables_that_agree_prove_nothing(epoch):
    """As recorded in 11-offsets-reset-power.txt: the tables stay, the place is 0,0,0."""
    epoch.note_greeting(10.0)

    epoch.read_back(facts(place=(0.0, 0.0)))

    assert epoch.request(can_home=False) is not None


@pytest.mark.parametrize(("can_home", "said"), [(True, "Home the machine, or"), (False, "Bring")])
def test_homing_is_asked_for_only_where_there_are_switches(epoch, can_home, said):
    epoch.end(position_epoch.RESTARTED)

    assert f"by itself. {said}" in epoch.request(can_home=can_home)


# An earlier origin, by its machine coordinates.


def earlier(**changes):
    return EarlierOrigin(**({"place_mm": (-50.0, -80.0), "ends_mm": ENDS_MM} | changes))


@pytest.mark.parametrize(
    ("ends_mm", "has_origin", "is_there"),
    [
        (ENDS_MM, False, True),
        (((-400.0, -400.015), (0.0, 0.0)), False, True),
        (((-400.0, -400.03), (0.0, 0.0)), False, False),
        (((0.0, 0.0), (400.0, 400.0)), False, False),
        (None, False, False),
        (ENDS_MM, True, False),
    ],
    ids=["homed", "as well as switches", "other ends", "other zero", "not homed", "origin set"],
)
def test_an_earlier_origin_is_there_only_after_homing_to_the_same_ends(
    epoch, ends_mm, has_origin, is_there
):
    if not has_origin:
        epoch.end(position_epoch.HOMED)
    epoch.ends_mm = ends_mm

    assert earlier().is_there(epoch) is is_there


def test_an_earlier_origin_has_the_name_of_its_last_etch():
    assert earlier(run=12).name == "the origin of etch 12"
    assert earlier().name == "the origin that was set last"
