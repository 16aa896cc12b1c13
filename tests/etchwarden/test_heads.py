"""Lasers named on the command line: the practice heads, and files about real ones."""

import pytest

from etchwarden.shared.heads import find_head
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.errors import UnreadableSheet

OWN = """
name = "the one in the shed"
rated_optical_w = 10.0
spot_x_mm = 0.08
spot_y_mm = 0.1
is_spot_measured = false
max_s = 1000
max_feed_mm_per_min = 6000.0
acceleration_mm_per_s2 = 800.0
travel_x_mm = 300.0
travel_y_mm = 200.0

[register]
beam_lag_s = 0.0003
slack_mm = 0.04
is_measured = true
"""


def written(tmp_path, text):
    path = tmp_path / "laser.toml"
    path.write_text(text)
    return str(path)


@pytest.mark.parametrize("name", PRACTICE_HEADS)
def test_a_practice_head_goes_by_its_name(name):
    assert find_head(name) is PRACTICE_HEADS[name]


def test_a_file_describes_a_head_and_its_register(tmp_path):
    head = find_head(written(tmp_path, OWN))

    assert (head.name, head.spot_mm, head.travel_y_mm) == ("the one in the shed", 0.1, 200)
    assert head.register.lead_mm(6000) == pytest.approx(0.03 + 0.02)


def test_a_name_of_nothing_lists_what_there_is(tmp_path):
    with pytest.raises(UnreadableSheet, match="practice-20w, practice-10w, practice-5w"):
        find_head(str(tmp_path / "gone.toml"))


def test_a_folder_is_no_description(tmp_path):
    with pytest.raises(UnreadableSheet, match="cannot be read"):
        find_head(str(tmp_path))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("", "= no TOML\n", "as TOML"),
        ("", f"x = {'9' * 5000}\n", "line"),
        ("", f"x = {'[' * 5000}\n", "as TOML"),
        ("rated_optical_w = 10.0", "", "lacks the entry 'rated_optical_w'"),
        ("rated_optical_w", "watts", "unknown entry 'watts'"),
        ("= 10.0", '= "10"', "rated_optical_w must be a number above zero, not '10'"),
        ("= 10.0", "= nan", "rated_optical_w"),
        ("= 300.0", "= -300.0", "travel_x_mm must be a number above zero"),
        ("= false", "= 0", "is_spot_measured cannot be 0"),
        ("= 0.0003", "= inf", "beam_lag_s cannot be inf"),
        ("[register]", "[[register]]", "register must be a table"),
    ],
)
def test_a_description_with_a_fault_names_it_and_the_file(tmp_path, old, new, said):
    path = written(tmp_path, OWN.replace(old, new, 1) if old else new + OWN)

    with pytest.raises(UnreadableSheet, match=r"laser\.toml") as raised:
        find_head(path)

    assert said in str(raised.value)
