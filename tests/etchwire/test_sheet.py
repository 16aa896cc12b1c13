"""The job sheet: what goes out comes back, and what is no sheet is refused with a sentence."""

import json
import math
from copy import deepcopy
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchwire.errors import UnreadableSheet
from etchwire.sheet import SHEET_NAME, Sheet, read_sheet
from support.samples.sheets import sheet_of


def table_of(**changes):
    return json.loads(sheet_of().to_json()) | changes


def without(*names):
    return {name: value for name, value in table_of().items() if name not in names}


def row(place, value, at=3):
    """Return the index with one entry of one row changed."""
    index = table_of()["index"]
    index[at][place] = value
    return {"index": index}


@given(st.integers(1, 40))
def test_a_sheet_comes_back_as_it_went_out(rows):
    sheet = sheet_of(rows)

    assert Sheet.from_json(sheet.to_json()) == sheet
    assert Sheet.from_json(sheet.to_json().encode()) == sheet


@pytest.mark.parametrize("change", [{"photo": None}, {"index": ()}, {"title": "Ölbild \U0001f3a8"}])
def test_a_sheet_may_lack_a_photo_or_an_index(change):
    sheet = sheet_of(**change)

    assert Sheet.from_json(sheet.to_json()) == sheet


def test_the_sheet_of_a_job_is_read_from_its_folder(tmp_path):
    (tmp_path / SHEET_NAME).write_text(sheet_of().to_json())

    assert read_sheet(tmp_path) == sheet_of()


def test_a_folder_without_a_sheet_is_named(tmp_path):
    with pytest.raises(UnreadableSheet, match=f"no job sheet can be read in {tmp_path}"):
        read_sheet(tmp_path)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "not readable JSON"),
        ("{", "not readable JSON"),
        (b"\xff\xfe", "not readable JSON"),
        (b"\x00" * 20, "not readable JSON"),
        ("[" * 100_000, "not readable JSON"),
        ('{"format":NaN}', "NaN is not a number"),
        ("null", "not a job sheet of ours"),
        ("[]", "not a job sheet of ours"),
        ('"etchwarden-job"', "not a job sheet of ours"),
        ('{"format":"etchwarden-run"}', "not a job sheet of ours"),
        (json.dumps(table_of(version=2)), "of version 2; this program reads 1"),
        (json.dumps(table_of(version=None)), "of version None"),
        (json.dumps(without("rows")), "incomplete"),
        (json.dumps(without("photo")), "incomplete"),
        (json.dumps(table_of(colour="red")), "incomplete"),
    ],
    ids=range(15),
)
def test_what_is_no_sheet_is_refused_with_a_sentence(text, sentence):
    with pytest.raises(UnreadableSheet, match=sentence):
        Sheet.from_json(text)


@pytest.mark.parametrize(
    "change",
    [
        {"width_mm": 0},
        {"height_mm": -1.0},
        {"rows": 0},
        {"rows": 10.5},
        {"columns": "100"},
        {"gcode_bytes": 0},
        {"gcode_lines": True},
        {"title": None},
        {"title": ["a"]},
        {"halftone": 3},
        {"is_both_directions": 1},
        {"coverage": 1.01},
        {"coverage": -0.01},
        {"predicted_s": -1},
        {"predicted_s": "soon"},
        {"dose_j_per_mm2": None},
        {"gcode_sha256": 7},
        {"end_line": 0},
        {"end_line": 10},
        {"end_line": 27},
        {"photo": {"name": "x"}},
        {"photo": 3},
        {"photo": {"name": "x", "sha256": "", "width_px": 1.5, "height_px": 2}},
        {"picture": {"left_mm": 0, "bottom_mm": 0, "right_mm": 1}},
        {"picture": {"left_mm": 0, "bottom_mm": 0, "right_mm": 1, "top_mm": "1"}},
        {"motion": None},
        {"head": {}},
        {"head": None},
        {"recipe": []},
        {"index": None},
        {"index": [[1, 2, 3]]},
        {"index": [7]},
        row(0, -1),
        row(0, 1.5),
        row(1, 6),
        row(1, 8),
        row(1, "7"),
        row(1, 0, at=0),
        row(2, 200),
        row(2, 380),
        row(2, -1, at=0),
        row(3, None),
        row(4, [0]),
        row(6, True),
        {"width_mm": 1e308},
        {"height_mm": 5e-324},
        {"rows": 10**19},
        {"columns": 10**7},
        {"predicted_s": 1e300},
        {"dose_j_per_mm2": 1e300},
        {"gcode_bytes": 10**19},
        {"gcode_lines": 2**63},
        {"title": "half a letter \ud800"},
        {"gcode_sha256": "AB" * 32},
        {"picture": {"left_mm": -1e300, "bottom_mm": 0, "right_mm": 1, "top_mm": 1}},
        row(0, 20),
        row(2, 10**19, at=19),
        row(3, 1e308),
        row(6, -1e200),
    ],
    ids=repr,
)
def test_a_sheet_whose_parts_make_no_sense_is_refused(change):
    assert Sheet.from_json(json.dumps(table_of())) == sheet_of()

    with pytest.raises(UnreadableSheet):
        Sheet.from_json(json.dumps(table_of(**change)))


def test_numbers_without_bounds_are_refused():
    text = json.dumps(table_of(predicted_s="here")).replace('"here"', "1e999")

    with pytest.raises(UnreadableSheet, match="predicted_s"):
        Sheet.from_json(text)


def test_a_sheet_that_cannot_be_read_again_is_not_made():
    with pytest.raises(UnreadableSheet):
        replace(sheet_of(), predicted_s=math.nan)


def paths_in(value, path=()):
    """Yield the way to every part of `value`, however deep."""
    yield path
    if isinstance(value, list):
        value = dict(enumerate(value))
    if isinstance(value, dict):
        for key, part in value.items():
            yield from paths_in(part, (*path, key))


PATHS = [path for path in paths_in(json.loads(sheet_of(3).to_json())) if path]
ANYTHING = st.sampled_from(
    [None, True, 0, -1, 1, 3.5, 1e308, 10**400, "", "x", [], [1], {}, {"a": 1}]
)


@given(st.lists(st.tuples(st.sampled_from(PATHS), ANYTHING), min_size=1, max_size=3))
def test_whatever_is_put_in_its_place_a_sheet_is_one_of_ours_or_refused(changes):
    table = json.loads(sheet_of(3).to_json())
    for path, value in changes:
        place = table
        for key in path[:-1]:
            try:
                place = place[key]
            except (KeyError, IndexError, TypeError):
                break
        else:
            if isinstance(place, dict) or (isinstance(place, list) and len(place) > path[-1]):
                place[path[-1]] = deepcopy(value)

    try:
        sheet = Sheet.from_json(json.dumps(table))
    except UnreadableSheet:
        return

    assert Sheet.from_json(sheet.to_json()) == sheet


def tile(pocket=1, first_row=0, rows=10, **changes):
    entries = {"title": "Ida", "columns": 100, "coverage": 0.4, "item": 0}
    place = {"left_mm": 5.0, "bottom_mm": 0.0, "right_mm": 15.0, "top_mm": 1.0}
    return (
        entries
        | {"pocket": pocket, "first_row": first_row, "rows": rows, "picture": place}
        | (changes)
    )


def test_tiles_share_out_the_rows_and_come_back_as_they_went_out():
    sheet = Sheet.from_json(json.dumps(table_of(parts=[tile(7), tile(3, 10, item=12)])))

    assert Sheet.from_json(sheet.to_json()) == sheet
    assert [sheet.part_of_row(row).pocket for row in (0, 9, 10, 19)] == [7, 7, 3, 3]
    assert sheet_of().part_of_row(0) is None
    assert "parts" not in table_of()


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ([tile()], "do not share out its rows"),
        ([tile(), tile(2, 11, 9)], "do not share out its rows"),
        ([tile(), tile(1, 10)], "in one pocket"),
        ([tile(rows=0), tile(2, 0, 20)], "a tile's rows must be"),
        ([tile(0), tile(2, 10)], "a tile's pocket must be"),
        ([tile(coverage=1.5), tile(2, 10)], "cannot be"),
        ([tile(item=-1), tile(2, 10)], "cannot be"),
        ([tile(title=3), tile(2, 10)], "title cannot be 3"),
        ([{}], "incomplete"),
        ([7], "incomplete"),
        (7, "incomplete"),
    ],
    ids=range(11),
)
def test_tiles_that_cannot_be_are_refused(parts, sentence):
    with pytest.raises(UnreadableSheet, match=sentence):
        Sheet.from_json(json.dumps(table_of(parts=parts)))
