"""A jig measured on the page: arrows move the head, two corners are taken, the jig is kept."""

import pytest

from support.fakes.fake_daemon import MACHINE

TYPED = {
    "name": "Coasters", "columns": "3", "rows": "2", "pitch_x_mm": "95", "pitch_y_mm": "95",
    "width_mm": "91", "height_mm": "91", "exhaust": "left", "pointer": "", "step": "10",
    "tile_mm": "6", "focus_depth_mm": "",
}  # fmt: skip
FAR_MM = [12.0 + 2 * 95 + 91, 58.8 + 95 + 91]


@pytest.fixture
def head(daemon):
    """Return a call that has the head stand somewhere, as the daemon tells it."""

    def stands(at_mm=(12.0, 58.8), **machine):
        idle = MACHINE | {"position_mm": list(at_mm), "controller_state": "Idle"}
        daemon.tell("idle", machine=idle | machine, may=["move_by"])

    return stands


def press(phone, **said):
    return phone.press("bench/jig", form=TYPED | said)


def test_a_jig_is_kept_once_the_head_stood_over_both_corners(phone, daemon, head):
    head()
    assert "x 12.0" in phone.look("/bench/jig").text
    first = press(phone, corner="first")
    assert (first.status_code, first.location) == (303, "/bench/jig")
    page = phone.look("/bench/jig").text
    assert 'value="Coasters"' in page
    assert "save_jig" not in daemon.said

    head(FAR_MM)
    kept = press(phone, corner="far")

    assert kept.location == "/bench?jig=Coasters"
    jig = daemon.said["save_jig"]["jig"]
    assert (jig["lower_left_x_mm"], jig["lower_left_y_mm"]) == (12.0, 58.8)
    assert [jig["upper_right_x_mm"], jig["upper_right_y_mm"]] == FAR_MM
    assert (jig["columns"], jig["rows"], jig["exhaust"], jig["tile_mm"]) == (3, 2, "left", 6.0)
    assert 'value="Coasters"' not in phone.look("/bench/jig").text


def test_an_arrow_moves_the_head_and_what_was_typed_stays(phone, daemon, head):
    head()

    moved = press(phone, way="right", step="0.1", columns="")

    assert moved.location == "/bench/jig"
    assert daemon.said["move_by"] == {"x_mm": 0.1, "y_mm": 0.0}
    assert 'value="Coasters"' in phone.look("/bench/jig").text


@pytest.mark.parametrize(
    ("machine", "said", "answer"),
    [
        ({"is_moving": True}, {}, "The head is moving: wait until it stands still."),
        ({"position_mm": None}, {}, "Where the head stands is not known."),
        ({}, {"corner": "other"}, "Say which corner the head is over."),
        ({}, {"columns": "1.5"}, "The number of pockets must be whole."),
        ({}, {"pitch_x_mm": "80"}, "The pockets overlap"),
        ({}, {"pointer": "gone"}, "has no pointer any more"),
    ],
)
def test_a_corner_that_cannot_be_taken_is_refused(phone, daemon, head, machine, said, answer):
    head(**machine)

    refused = press(phone, **({"corner": "first"} | said))

    assert (refused.status_code, answer in refused.text) == (422, True), refused.text
    assert 'value="Coasters"' in refused.text
    assert "Measured:" not in phone.look("/bench/jig").text


def test_corners_that_are_not_those_of_such_a_jig_are_refused_and_measured_again(
    phone, daemon, head
):
    head()
    press(phone, corner="first")
    head((100.0, 100.0))
    refused = press(phone, corner="far")
    assert "The two corners lie 97.2 mm apart" in refused.text  # from (12, 58.8)
    assert "save_jig" not in daemon.said

    head(FAR_MM)

    assert press(phone, corner="far").location == "/bench?jig=Coasters"


def test_a_corner_from_before_another_origin_no_longer_counts(phone, daemon, head):
    head()
    press(phone, corner="first")
    head(FAR_MM, origin=MACHINE["origin"] | {"epoch": MACHINE["origin"]["epoch"] + 1})

    press(phone, corner="far")

    assert "save_jig" not in daemon.said
    page = phone.look("/bench/jig").text
    assert page.count("Measured:") == 1


def test_a_jig_that_leaves_the_bed_is_refused(phone, daemon, head):
    bed = {"left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 250.0, "top_mm": 300.0, "is_homed": True}
    head(bed=bed)
    press(phone, corner="first")
    head(FAR_MM, bed=bed)

    assert "Pocket 3 lies outside the bed" in press(phone, corner="far").text
    assert "save_jig" not in daemon.said


def test_the_pointer_of_a_laser_stands_beside_its_beam(phone, daemon, head):
    heads = daemon.answers["heads"]["heads"]
    daemon.answers["heads"] = {"heads": [
        one | {"head": one["head"] | {"pointer_x_mm": 30.0, "pointer_y_mm": -2.0}} for one in heads
    ]}  # fmt: skip
    name = heads[0]["name"]
    head()
    assert f"The pointer of {name}" in phone.look("/bench/jig").text
    press(phone, corner="first", pointer=name)
    head(FAR_MM)
    press(phone, corner="far", pointer=name)

    jig = daemon.said["save_jig"]["jig"]
    assert (jig["lower_left_x_mm"], jig["lower_left_y_mm"]) == (42.0, 56.8)
