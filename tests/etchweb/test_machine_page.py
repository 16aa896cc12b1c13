"""The page *Machine*: what it says, what it asks the daemon for, and who may."""

import re
import time

import pytest

from etchweb.machine.presenter import NO_BED, UNSURE_BED, live_view, machine_view
from etchweb.machine.views import NO_PLACE
from etchwire.calls.json_values import from_json_value
from etchwire.calls.machine import ControllerSettings
from etchwire.errors import Refused
from support.fakes.fake_daemon import BOX, JOB, MACHINE, snapshot
from support.fakes.fake_machine import BED, ORIGIN, SETTINGS

PLACED = {
    **JOB,
    "picture_mm": {"left_mm": 5.0, "bottom_mm": 0.0, "right_mm": 105.0, "top_mm": 80.0},
    "reach_mm": {"left_mm": 0.0, "bottom_mm": 0.0, "right_mm": 110.0, "top_mm": 80.0},
    "pointer_mm": [-20.0, 5.0],
}
ANYONE = ("stop",)
OPERATORS = (
    "move",
    "nudge",
    "trace",
    "set-origin",
    "find-origin",
    "home",
    "unlock",
    "measure",
    "try",
)
FORMS = {
    "move": {"x": "12,5", "y": "-3"},
    "nudge": {"step": "0.1", "way": "left"},
    "try": {"output": "lamp"},
}
ASKED = {
    "move": ("move_to", {"x_mm": 12.5, "y_mm": -3.0}),
    "nudge": ("move_by", {"x_mm": -0.1, "y_mm": 0.0}),
    "trace": ("trace_outline", {"with_run_ups": False}),
    "set-origin": ("set_origin", {}),
    "find-origin": ("find_origin", {}),
    "home": ("home", {}),
    "unlock": ("unlock", {}),
    "measure": ("measure", {}),
    "stop": ("stop", {"who": ""}),
    "try": ("try_output", {"name": "lamp", "on": True}),
}


def test_the_page_says_how_it_is_connected_and_where_the_head_is(phone):
    for address, words in (
        ("/machine", ("The controller is ready.", "x 12.0, y 58.8 mm")),
        ("/machine/settings", ("The controller is ready.", "/dev/pts/4", "1.1h")),
    ):
        text = phone.look(address).text
        assert all(word in text for word in words)


def test_the_settings_that_spoil_an_etch_are_marked_in_words(phone):
    text = phone.look("/machine/settings").text

    assert "<strong>25 ms</strong> · look at this" in text
    assert "<strong>1</strong><br>" in text
    assert "The motors let go whenever the head rests." in text


def test_how_fast_the_controller_takes_in_a_picture_is_said_in_words(phone):
    text = phone.look("/machine/settings").text

    assert "single dots up to 2250 mm/min" in text
    assert "Measure the controller" in text


def test_every_contact_is_said_with_the_time_since_it_is_so(phone):
    text = phone.look("/machine/wiring").text

    assert "The lid is closed. Contact closed for 13 s. As it should be." in text
    assert "It is on fire. Contact open for 13 s. Not as it should be." in text
    assert "It is pressed. Contact closed for 13 s.<" in text
    assert "Being tried: 4 s left." in text


def test_a_contact_that_is_not_as_it_should_be_is_marked_and_no_other(phone):
    text = phone.look("/machine/wiring").text

    assert re.findall(r'data-live="input (\w+)" class="wrong"', text) == ["flame"]


def test_what_is_not_wired_stands_in_the_open_beside_the_drawing(phone):
    text = phone.look("/machine/wiring").text
    in_the_open = re.sub(r"<details.*?</details>", "", text, flags=re.DOTALL)

    assert BOX["lacks"][0] in in_the_open
    drawing = re.search(r'href="(/static/\w+/machine/wiring.svg)"', in_the_open)
    assert drawing is not None
    with phone.look(drawing[1]) as answer:
        assert answer.headers["Content-Type"].startswith("image/svg+xml")


def test_the_page_of_an_etch_says_in_the_open_what_is_not_wired(phone):
    text = phone.look("/").text

    assert BOX["lacks"][0] in re.sub(r"<details.*?</details>", "", text, flags=re.DOTALL)


def test_only_outputs_that_may_be_tried_have_a_button(phone):
    text = phone.look("/machine/wiring").text

    tried = re.findall(r'name="output" value="([^"]+)"', text)
    assert "lamp" in tried
    assert {"beam_enable", "heartbeat"}.isdisjoint(tried)  # the second is not wired in this box


def test_a_machine_that_was_not_homed_is_said_to_be_so(phone, daemon):
    assert UNSURE_BED in phone.look("/machine").text

    daemon.tell("idle", machine={**MACHINE, "bed": {**BED, "is_homed": True}})

    assert UNSURE_BED not in phone.look("/machine").text


def test_without_a_bed_there_is_no_picture_but_the_page(phone, daemon):
    daemon.tell("idle", machine={**MACHINE, "bed": None, "position_mm": None})

    text = phone.look("/machine").text

    assert NO_BED in text
    assert '<svg class="bed' not in text


def test_the_picture_of_the_bed_holds_the_job_and_its_run_ups(phone, daemon):
    daemon.tell("loaded", job=PLACED, may=["trace_outline"])

    text = phone.look("/machine").text

    assert 'data-bed="picture" x="5.0"' in text
    assert 'data-bed="reach"' in text
    assert "bed-pointer" in text


@pytest.mark.parametrize("name", [*OPERATORS, *ANYONE])
def test_a_button_asks_the_daemon_once(phone, daemon, name):
    answer = phone.press(f"machine/{name}", form=FORMS.get(name))

    method, said = ASKED[name]
    assert answer.status_code == 303
    assert daemon.asked == [method]
    assert daemon.said[method] == said


def test_the_dashed_line_can_be_traced_and_a_trial_left_off(phone, daemon):
    phone.press("machine/trace", form={"run-ups": "yes"})
    phone.press("machine/try", form={"output": "lamp", "on": "no"})

    assert daemon.said["trace_outline"] == {"with_run_ups": True}
    assert daemon.said["try_output"] == {"name": "lamp", "on": False}


@pytest.mark.parametrize("x", ["", "left", "nan", "inf", "1e9", "1;2"])
def test_what_is_no_place_reaches_nobody(phone, daemon, x):
    answer = phone.press("machine/move", form={"x": x, "y": "1"})

    assert answer.status_code == 422
    assert NO_PLACE in answer.text
    assert daemon.asked == []


@pytest.mark.parametrize(
    ("step", "way", "by_mm"),
    [("0.1", "up", (0, 0.1)), ("1", "right", (1, 0)), ("10", "down", (0, -10))],
)
def test_an_arrow_nudges_the_head_that_way_by_the_chosen_step(phone, daemon, step, way, by_mm):
    phone.press("machine/nudge", form={"step": step, "way": way})

    assert daemon.said["move_by"] == {"x_mm": by_mm[0], "y_mm": by_mm[1]}


@pytest.mark.parametrize("wrong", [{"step": "100"}, {"step": "nan"}, {"way": "away"}, {"way": ""}])
def test_another_step_or_way_reaches_nobody(phone, daemon, wrong):
    answer = phone.press("machine/nudge", form={"step": "1", "way": "up"} | wrong)

    assert answer.status_code == 422
    assert daemon.asked == []


@pytest.mark.parametrize(
    ("state", "machine", "may", "why"),
    [
        ("idle", {}, ["move_to"], ""),
        ("etching", {}, [], "An etch is running. The head can be moved once it has ended."),
        ("held", {}, [], "An etch is running. The head can be moved once it has ended."),
        (
            "idle",
            {"is_moving": True},
            [],
            "The head is moving. The buttons work again when it rests.",
        ),
        ("idle", {"link": "absent"}, [], "The controller is not there."),
        ("idle", {}, ["unlock"], "The controller is locked: home the machine, or unlock it."),
        ("idle", {"bed": None}, [], "The controller has not said yet how far the head can go."),
    ],
)
def test_when_the_head_cannot_be_moved_the_page_says_why(phone, daemon, state, machine, may, why):
    daemon.tell(state, machine={**MACHINE, **machine}, may=may)

    assert f'data-live="why_not">{why}<' in phone.look("/machine").text
    assert phone.look("/machine/now.json").json["why_not"] == why


def test_without_a_script_each_button_leads_back_to_its_own_tab(phone):
    assert phone.press("machine/home").location == "/machine"
    assert phone.press("machine/try", form=FORMS["try"]).location == "/machine/wiring"
    assert phone.press("machine/measure").location == "/machine/settings"


def test_what_the_daemon_refuses_is_said_on_the_page(phone, daemon):
    daemon.refuse("the head cannot go there")

    answer = phone.press("machine/move", form=FORMS["move"])

    assert answer.status_code == 409
    assert "The head cannot go there." in answer.text


@pytest.mark.parametrize("name", OPERATORS)
def test_a_phone_that_may_watch_moves_nothing(pair_phone, daemon, name):
    watcher = pair_phone("watch", time.time())

    assert watcher.press(f"machine/{name}", form=FORMS.get(name)).status_code == 403
    assert daemon.asked == []


def test_a_phone_that_may_watch_sees_the_machine_and_stops_the_head(pair_phone, daemon):
    watcher = pair_phone("watch", time.time())
    assert 'action="/machine/move"' not in watcher.look("/machine").text
    assert 'name="output"' not in watcher.look("/machine/wiring").text
    assert watcher.press("machine/stop").status_code == 303
    assert daemon.asked == ["stop"]


@pytest.mark.parametrize("name", [*OPERATORS, *ANYONE])
@pytest.mark.parametrize("origin", [None, "http://elsewhere.example"])
def test_no_other_page_moves_anything(phone, daemon, name, origin):
    answer = phone.press(f"machine/{name}", origin=origin, form=FORMS.get(name))

    assert answer.status_code == 403
    assert daemon.asked == []


@pytest.mark.parametrize("name", [*OPERATORS, *ANYONE])
def test_a_form_without_its_token_moves_nothing(phone, daemon, name):
    form = {"form_token": "x", **FORMS.get(name, {})}

    assert phone.press(f"machine/{name}", form=form).status_code == 403
    assert daemon.asked == []


def test_an_unpaired_phone_learns_nothing(stranger):
    answer = stranger.look("/machine")

    assert answer.status_code == 403
    assert "Etchwarden 0" not in answer.text
    assert "/dev/pts" not in answer.text


def test_what_changes_comes_without_the_wires_unless_they_are_looked_at(phone):
    assert "input lid" not in phone.look("/machine/now.json").json
    assert phone.look("/machine/now.json?wiring=yes").json["input lid"].startswith("The lid")
    assert len(phone.look("/machine/now.json").data) < 500


def test_a_daemon_that_is_away_is_said_and_a_stop_stays_on_offer(phone, daemon):
    daemon.go_away()

    assert phone.look("/machine").status_code == 503
    now = phone.look("/machine/now.json").json
    assert now["may"] == ["stop"]
    assert "stop circuit" in now["sentence"]


def test_a_daemon_that_knows_neither_settings_nor_wires_still_shows_its_machine(phone, daemon):
    def refuse(**_):
        raise Refused("refused", "this daemon does not know that question")

    daemon.answers = {"settings": refuse, "wiring": refuse}

    assert "not be asked" in phone.look("/machine/settings").text


@pytest.mark.parametrize("link", ["absent", "opening", "ready", "refused", "lost"])
def test_every_link_has_its_words(link):
    assert live_view(snapshot("idle", machine={**MACHINE, "link": link}), None)["link"]


def test_a_port_that_is_not_named_yet_is_said_so():
    shown = snapshot("idle", machine={**MACHINE, "port": "", "link": "absent"})

    assert machine_view(shown, None, None)["port"] == "not named yet"


def test_a_value_is_said_without_needless_noughts_and_a_missing_one_as_a_dash():
    settings = from_json_value(SETTINGS, ControllerSettings)
    shown = machine_view(snapshot("idle"), settings, None)["settings"]

    assert [one["value"] for one in shown] == ["1", "25", "10000 × –"]


def test_an_earlier_origin_is_offered_by_its_name(phone, daemon):
    again = {"name": "the origin of etch 12", "x_mm": -50.0, "y_mm": -0.04}
    daemon.tell(
        "idle",
        machine={**MACHINE, "origin": {**ORIGIN, "is_known": False, "again": again}},
        may=["find_origin"],
    )

    text = phone.look("/machine").text

    assert "Take the origin of etch 12 again (-50.0, 0.0 mm)" in text
