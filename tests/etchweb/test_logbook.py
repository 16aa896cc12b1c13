import csv
import html
import io

import pytest
from msgspec import structs

from etchweb.logbook.presenter import event_lines
from etchwire.calls.history import RunEvent
from etchwire.errors import Refused
from support.fakes.fake_daemon import ETCH, GONE, SHA256


def test_the_list_tells_each_etch_in_a_few_lines(phone):
    text = html.unescape(phone.look("/logbook").text)

    assert "Etched, 1\u202f000 of 1\u202f000 rows, 42 min" in text
    assert "Stopped, 412 of 1\u202f000 rows, 18 min" in text
    assert text.count("by a clock that was not set") == 1
    assert text.count("The box’s clock was not set then.") == 1


def test_a_picture_of_a_tile_can_be_saved_under_its_title(phone):
    text = html.unescape(phone.look("/logbook/7").text)

    assert f'download="{ETCH["title"]}.jpg" href="/picture/{SHA256}-small.jpg"' in text


def test_an_empty_logbook_says_what_to_do_first(phone, daemon):
    daemon.answers["runs"] = {"runs": [], "next_before": None, "notes": []}

    assert "One test card first" in phone.look("/logbook").text


def test_older_etches_are_a_page_away(phone, daemon):
    asked = []

    def answer(**params):
        asked.append(params["before"])
        return {"runs": [ETCH], "next_before": 7, "notes": []}

    daemon.answers["runs"] = answer

    assert 'href="/logbook?before=7"' in phone.look("/logbook").text
    phone.look("/logbook?before=7")
    assert asked == [None, 7]


def test_what_the_logbook_says_about_itself_is_shown_once(phone, daemon):
    note = {"at_utc": "2026-11-25T10:00:00Z", "text": "the old logbook was damaged"}
    daemon.answers["runs"] = {"runs": [ETCH], "next_before": None, "notes": [note]}

    assert "The old logbook was damaged." in phone.look("/logbook").text
    assert "The old logbook was damaged." not in phone.look("/logbook?before=7").text


@pytest.mark.parametrize("address", ["/logbook?before=-1", f"/logbook?before={2**60}"])
def test_a_senseless_place_in_the_list_is_not_found(phone, address):
    assert phone.look(address).status_code == 404


def test_an_etch_shows_what_was_run_beside_the_recipe(phone):
    text = html.unescape(phone.look("/logbook/7").text)

    assert "3\u202f710 mm/min on average; the recipe asks for 4\u202f000" in text
    assert "31 % of the rows ran more than 5 % slower." in text
    assert text.count('class="chart"') == 2
    assert "1.80 J/mm²" in text


def test_an_etch_of_a_file_that_was_tidied_says_of_how_many_lines(phone, daemon):
    original = {"name": "sign.nc", "sha256": "0" * 64, "tidied_lines": 12}
    daemon.answers["run"] = ETCH | {"sheet": ETCH["sheet"] | {"original": original}}

    assert "12 lines: blanks, comments" in phone.look("/logbook/7").text


def test_what_happened_is_told_in_order_and_in_sentences(phone):
    text = phone.look("/logbook/7").text

    assert text.index("Held at the end of row 160: you asked for it.") < text.index(
        "Went on with row 161."
    )


def test_an_etch_of_which_nothing_was_measured_has_no_chart(phone, daemon):
    daemon.answers["run_rows"] = lambda **_: {"columns": ["row"], "rows": [], "next_row": None}
    nothing = ETCH["comparison"] | {"feed_mean_mm_per_min": None, "slow_rows_ratio": None}
    daemon.answers["run"] = ETCH | {"comparison": nothing}

    text = phone.look("/logbook/7").text

    assert "Nothing was measured" in text
    assert 'class="chart"' not in text


def test_an_etch_that_is_under_way_has_a_page(phone, daemon):
    going = {"ended": None, "because": None, "ended_at_utc": None, "elapsed_s": None}
    daemon.answers["run"] = ETCH | going | {"etched_rows": None}
    daemon.answers["runs"] = {"runs": [ETCH | going], "next_before": None, "notes": []}

    assert "Under way" in phone.look("/logbook/7").text
    assert "Under way" in phone.look("/logbook").text


@pytest.mark.parametrize("address", ["/logbook/99", "/logbook/99.csv"])
def test_an_etch_that_never_was_is_not_found_in_the_daemons_words(phone, address):
    answer = phone.look(address)

    assert answer.status_code == 404
    assert "no run 99" in answer.text


@pytest.mark.parametrize("address", ["/logbook/-1", "/logbook/x", f"/logbook/{2**53}"])
def test_what_is_no_number_of_an_etch_is_not_found(phone, address):
    assert phone.look(address).status_code == 404


@pytest.mark.parametrize("address", ["/logbook", "/logbook/7", "/logbook/7.csv"])
def test_without_the_daemon_the_logbook_says_so(phone, daemon, address):
    daemon.go_away()

    answer = phone.look(address)

    assert answer.status_code == 503
    assert GONE in answer.text


def test_a_busy_logbook_is_not_called_missing(phone, daemon):
    def answer(**_):
        raise Refused("busy", "the logbook is being copied")

    daemon.answers["runs"] = answer

    assert phone.look("/logbook").status_code == 503


def test_the_table_holds_every_row_with_its_units_in_the_head(phone):
    answer = phone.look("/logbook/7.csv")
    lines = list(csv.DictReader(io.StringIO(answer.text)))

    assert answer.mimetype == "text/csv"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="etch-7.csv"'
    assert len(lines) == 970
    assert [line["row"] for line in lines[298:302]] == ["298", "299", "330", "331"]
    assert float(lines[388 - 30]["feed_mean_mm_per_min"]) == pytest.approx(2500.0)


def test_what_two_events_say_in_the_same_words_is_told_once():
    trip = RunEvent(id=1, at_s=18.0, at_utc="", kind="trip", text="the lid is open.", details={})

    assert event_lines([trip, trip, structs.replace(trip, at_s=400.0)]) == [
        {"at": "18 s", "text": "The lid is open."},
        {"at": "7 min", "text": "The lid is open."},
    ]
