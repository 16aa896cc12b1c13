"""The page *Watch* in a real browser of a phone's size, against a daemon that the test moves."""

import re
from datetime import UTC, datetime
from urllib.parse import urlsplit

import pytest

from etchweb.run.after_end import COOLING_S
from support.fakes.fake_daemon import ETCH, GONE, HELD_BECAUSE, LID_TRIP, RUN, STATES, box
from support.harnesses.page_bench import LEAST_TARGET_PX, violations

FIRE = {**LID_TRIP, "name": "no flame or smoke", "reaction": "emergency"}


def edge_of(page):
    return float(page.locator("[data-tile=etched]").get_attribute("height"))


def test_the_tile_fills_as_the_rows_are_etched(open_phone, served, expect):
    served.daemon.tell("etching")
    phone = open_phone()
    assert edge_of(phone) == pytest.approx(41.2)

    served.daemon.tell("etching", run={**RUN, "etched_rows": 700, "row": 700})

    expect(phone.locator("[data-live=rows_done]")).to_have_text("700")
    assert edge_of(phone) == pytest.approx(70.0)
    assert phone.complaints == []


def test_the_page_follows_an_etch_from_the_empty_bench_to_its_end(open_phone, served, expect):
    phone = open_phone()
    headline = phone.locator("h1")
    expect(headline).to_have_text("No picture loaded")

    served.daemon.tell("loaded")
    expect(phone.get_by_role("button", name="Get ready")).to_be_enabled()
    served.daemon.tell("arming")
    expect(phone.get_by_text("press the button there")).to_be_visible()
    served.daemon.tell("armed")
    expect(phone.get_by_role("button", name="Start the etch")).to_be_enabled()
    served.daemon.tell("etching")
    expect(phone.get_by_role("button", name="Hold at the row’s end")).to_be_enabled()
    served.daemon.tell("held")
    expect(phone.get_by_role("button", name="Resume")).to_be_enabled()
    served.daemon.tell("complete")
    expect(headline).to_have_text("Etched")

    expect(phone.get_by_role("heading", name="First let it cool")).to_be_visible()
    assert phone.complaints == []


def test_the_tile_cools_by_a_timer_that_runs_down(open_phone, served, expect):
    served.daemon.answers["run"] = ETCH | {"ended_at_utc": datetime.now(UTC).isoformat()}
    served.daemon.tell("complete")
    phone = open_phone("/nowhere")
    phone.clock.install()

    phone.goto(served.url)
    timer = phone.locator("[data-counts-down]")
    expect(timer).to_have_text(re.compile(r"(9 min \d\d|10 min 00) s"))
    phone.clock.fast_forward(COOLING_S * 1000)

    expect(timer).to_have_text("Should be cool by now")


def test_the_end_is_told_in_the_phones_own_clock_time(open_phone, served, expect):
    served.daemon.tell("etching", run={**RUN, "ends_at_utc": "2026-11-25T17:43:10+00:00"})

    expect(open_phone(timezone_id="Asia/Tokyo").locator("time")).to_have_text("2:43")
    expect(open_phone().locator("time")).to_have_text("17:43")


@pytest.mark.parametrize(
    ("state", "button", "method"),
    [
        ("etching", "Hold at the row’s end", "hold"),
        ("etching", "Hold now", "hold_now"),
        ("etching", "Stop", "stop"),
        ("held", "Resume", "resume"),
    ],
)
def test_a_button_asks_the_daemon_once(open_phone, served, expect, state, button, method):
    served.daemon.tell(state)
    phone = open_phone()

    with phone.expect_response(lambda response: response.request.method == "POST"):
        phone.get_by_role("button", name=button, exact=True).tap()

    assert served.daemon.asked == [method]
    assert phone.url == served.url + "/"


def test_a_round_and_later_a_look_appear_by_themselves_and_are_answered(open_phone, served, expect):
    served.daemon.tell("etching")
    phone = open_phone()
    expect(phone.get_by_role("button", name="Hold now")).to_be_enabled()

    served.daemon.tell(
        "etching", interlocks=box(is_round_asking=True), may=["hold_now", "answer_round"]
    )
    phone.get_by_role("button", name="Yes, I am here").tap()
    expect(phone.get_by_text("within reach of the machine")).to_be_visible()
    served.daemon.tell("complete")
    expect(phone.get_by_text("within reach of the machine")).to_be_hidden()
    look = box(is_look_asked=True, asked_for="The etch ended 15 min ago. Look whether it glows.")
    served.daemon.tell("complete", interlocks=look, may=["answer_round", "unload"])
    expect(phone.get_by_text("The etch ended 15 min ago.")).to_be_visible()
    with phone.expect_response("**/answer-round"):
        phone.get_by_role("button", name="I have looked, all is well").tap()

    assert served.daemon.asked == ["answer_round", "answer_round"]
    assert phone.complaints == []


def test_a_refusal_is_shown_where_the_person_is(open_phone, served, expect):
    served.daemon.tell("etching")
    served.daemon.refuse("The row is nearly over; wait for its end.")
    phone = open_phone()

    phone.get_by_role("button", name="Hold now").tap()

    expect(phone.get_by_role("alert")).to_have_text("The row is nearly over; wait for its end.")


def test_nothing_starts_until_the_cautions_are_ticked(open_phone, served, expect):
    served.daemon.tell("loaded")
    phone = open_phone()
    get_ready = phone.get_by_role("button", name="Get ready")
    expect(phone.locator("[data-to-go]")).to_have_text("4 to go")
    expect(get_ready).to_be_in_viewport()
    phone.get_by_label("The lens is wiped").check()
    phone.get_by_label("The focus is set").select_option("spacer")
    phone.get_by_label("How many hours ago").fill("14")

    to_go = phone.locator("[data-to-go]")
    expect(to_go).to_have_text("1 to go")

    get_ready.tap()
    assert served.daemon.asked == []
    phone.get_by_label("I have looked at each").check()
    expect(to_go).to_have_text("All confirmed")
    with phone.expect_response("**/arm"):
        get_ready.tap()

    answers = {"lens": True, "focus": "spacer", "coated hours ago": 14.0}
    assert served.daemon.said["arm"] == {
        "answers": answers, "test_heartbeat": False, "acknowledge": [],
    }  # fmt: skip


def test_a_trip_is_told_while_it_is_watched_and_can_be_reset(open_phone, served, expect):
    served.daemon.tell("etching")
    phone = open_phone()

    served.daemon.tell("tripped")
    expect(phone.get_by_text("Lid opened. Touch nothing")).to_be_visible()
    with phone.expect_response("**/reset"):
        phone.get_by_role("button", name="Reset").tap()

    assert served.daemon.said["reset"] == {"names": ["lid closed"]}


def test_a_tick_survives_while_nothing_changes_but_figures(open_phone, served, expect):
    served.daemon.tell("loaded")
    phone = open_phone()
    looked = phone.get_by_label("I have looked at each")
    looked.check()

    served.daemon.tell("loaded", sentence="Still there.")

    expect(phone.locator("[data-live=sentence]")).to_have_text("Still there.")
    expect(looked).to_be_checked()


def test_what_was_ticked_and_typed_outlives_a_page_drawn_anew(open_phone, served, expect):
    served.daemon.tell("stopped", interlocks=box(trips=[LID_TRIP]), may=["reset", "arm"])
    phone = open_phone()
    phone.get_by_text("Etch it again").tap()
    phone.get_by_label("The lens is wiped").check()
    phone.get_by_label("How many hours ago").fill("14")

    served.daemon.tell("stopped", may=["arm"])
    expect(phone.get_by_role("button", name="Reset")).to_have_count(0)

    expect(phone.get_by_label("The lens is wiped")).to_be_checked()
    expect(phone.get_by_label("How many hours ago")).to_have_value("14")


NOTE_WHAT_IS_HEARD = """
const Source = EventSource;
window.heardByTest = [];
window.EventSource = class extends Source {
  constructor(url) {
    super(url);
    this.addEventListener("message", ({ data }) => heardByTest.push(data));
  }
};
"""


def test_what_is_heard_while_the_page_is_drawn_anew_is_not_lost(open_phone, served, expect):
    phone, drawn = open_phone("/nowhere"), []
    phone.add_init_script(NOTE_WHAT_IS_HEARD)
    phone.goto(served.url)

    def draw_and_keep(route):
        here = served.url.replace(
            "etchwarden.local", "127.0.0.1"
        )  # only the browser knows the name
        headers = route.request.all_headers() | {"host": urlsplit(served.url).netloc}
        drawn.append((route, route.fetch(url=f"{here}/", headers=headers)))

    phone.route(f"{served.url}/", draw_and_keep)
    served.daemon.tell("loaded", may=["unload"])
    while not drawn:
        phone.wait_for_timeout(20)
    served.daemon.tell("loaded", sentence="Now it may be armed.")
    while "Now it may be armed." not in phone.evaluate("() => heardByTest.join()"):
        phone.wait_for_timeout(20)
    route, answer = drawn.pop()
    route.fulfill(response=answer)

    expect(phone.locator("[data-live=sentence]")).to_have_text("Now it may be armed.")
    expect(phone.get_by_role("button", name="Get ready")).to_be_enabled()


def test_a_daemon_that_goes_away_is_told_and_comes_back_by_itself(open_phone, served, expect):
    served.daemon.tell("etching")
    phone = open_phone()

    served.daemon.go_away()
    expect(phone.locator("h1")).to_have_text("The box does not answer")
    expect(phone.locator("[data-live=sentence]")).to_have_text(GONE)
    expect(phone.get_by_role("button", name="Stop")).to_be_enabled()
    served.daemon.come_back()

    expect(phone.locator("h1")).to_have_text("Etching")


def test_stop_works_while_the_stream_is_down_and_the_page_asks_instead(open_phone, served, expect):
    phone = open_phone("/nowhere")
    phone.route("**/watch/stream", lambda route: route.fulfill(status=503))
    served.daemon.tell("etching")
    phone.goto(served.url)

    served.daemon.tell("etching", run={**RUN, "etched_rows": 500})
    expect(phone.locator("[data-live=rows_done]")).to_have_text("500")
    with phone.expect_response("**/stop"):
        phone.get_by_role("button", name="Stop").tap()

    assert served.daemon.asked == ["stop"]


def lose_the_link(phone, *patterns):
    for pattern in patterns:
        phone.route(pattern, lambda route: route.abort())


def test_a_lost_link_is_said_in_the_first_line_within_three_seconds_and_figures_are_marked_old(
    open_phone, served, expect
):
    phone = open_phone("/nowhere")
    lose_the_link(phone, "**/watch/stream", "**/watch.json")
    served.daemon.tell("etching", may=[])
    phone.clock.install(time=0)
    phone.clock.pause_at(1000)
    phone.goto(served.url)
    lost, old = phone.get_by_text("Link to the box lost"), phone.get_by_text("figures are old")

    phone.clock.run_for(2800)
    expect(lost).to_be_hidden()
    expect(old).to_be_hidden()
    phone.clock.run_for(200)

    # 1000 s after 1970 began, and London kept summer time all that year.
    expect(lost).to_have_text(
        "Link to the box lost: nothing heard since 1:16. What you see is old."
    )
    expect(old).to_be_visible()
    assert phone.locator("main").inner_text().startswith("Link to the box lost")
    phone.evaluate("scrollTo(0, document.body.scrollHeight)")
    expect(lost).to_be_in_viewport()
    expect(phone.get_by_role("button", name="Stop")).to_be_enabled()


def test_that_the_box_did_not_answer_is_said_until_it_is_heard_again(open_phone, served, expect):
    phone = open_phone("/nowhere")
    served.daemon.tell("etching")
    phone.clock.install()
    phone.goto(served.url)
    expect(phone.locator("body")).to_have_class("is-live")
    lose_the_link(phone, "**/hold")

    phone.get_by_role("button", name="Hold at the row’s end").tap()
    answer = phone.get_by_text("The box did not answer. Press again")
    expect(answer).to_be_visible()
    served.daemon.tell("etching", sentence="Still etching.")
    expect(phone.get_by_text("Still etching.")).to_be_visible()
    expect(answer).to_be_visible()  # nobody reads a sentence in a moment
    phone.clock.fast_forward(3000)

    expect(answer).to_have_count(0)


def test_the_page_works_without_script(open_phone, served, expect):
    served.daemon.tell("etching")
    phone = open_phone(java_script_enabled=False)
    assert phone.locator("meta[http-equiv=refresh]").count() == 1

    phone.get_by_role("button", name="Hold at the row’s end").tap()
    expect(phone.locator("h1")).to_have_text("Etching")

    assert served.daemon.asked == ["hold"]


def test_the_bar_never_hides_what_has_the_focus(open_phone, served, expect):
    # WCAG 2.2, 2.4.11 Focus Not Obscured.
    served.daemon.tell("stopped", may=["start", "stop"])
    phone = open_phone(width_px=320)
    expect(phone.locator("body")).to_have_class("is-live")  # nothing moves from here on

    for _ in range(12):
        phone.keyboard.press("Tab")
        hidden_px = phone.evaluate(
            "() => { const e = document.activeElement, bar = document.querySelector('.bar');"
            " return e.matches('body, .bar *, .foot *') ? 0"
            " : e.getBoundingClientRect().bottom - bar.getBoundingClientRect().top }"
        )
        assert hidden_px <= 1


HELD_BY_LID = {"interlocks": box(trips=[LID_TRIP]), "may": ["reset", "stop"]}
SHOWN_WHOLE = {
    "etching": ("etching", {}),
    "held": ("held", {}),
    "held by the lid": ("held", HELD_BY_LID),
    "stopped by the lid": ("tripped", {"may": ["reset", "stop"]}),
    "on fire": ("etching", {"interlocks": box(trips=[FIRE])}),
    "away": ("away", {}),
}
# What sticks out of the window or of its own box, by its words.
NOT_WHOLE = """() => [
    ...document.querySelectorAll(".bar button, .first-line h1, .stops li, .stops .next")
  ]
  .filter((part) => part.checkVisibility())
  .filter((part) => {
    if (!part.closest(".bar, .first-line")) part.scrollIntoView({ block: "center" });
    const { left, right, top, bottom } = part.getBoundingClientRect();
    const isInside = left >= 0 && right <= innerWidth && top >= 0 && bottom <= innerHeight;
    const isClipped =
      part.scrollWidth > part.clientWidth + 1 || part.scrollHeight > part.clientHeight + 1;
    return !isInside || isClipped;
  })
  .map((part) => part.innerText)"""
OUT_OF_REACH = """() => [...document.querySelectorAll(".bar button")]
  .filter((one) => one.getBoundingClientRect().top < 0
    || one.getBoundingClientRect().bottom > innerHeight)
  .map((one) => one.innerText)"""
COVERED = """() => [".bar", ".first-line"]
  .map((part) => document.querySelector(part)?.offsetHeight ?? 0)
  .reduce((sum, height) => sum + height) / innerHeight"""


@pytest.mark.parametrize("text_percent", [100, 200])
@pytest.mark.parametrize(("width_px", "height_px"), [(320, 568), (568, 320)])
def test_stop_hold_and_the_cause_stay_whole_and_in_reach(
    open_phone, served, expect, width_px, height_px, text_percent
):
    # WCAG 2.2, 1.4.4 Resize Text and 1.4.10 Reflow; a small phone upright and on its side.
    phone = open_phone("/nowhere", width_px=width_px)
    phone.set_viewport_size({"width": width_px, "height": height_px})
    for name, (state, changes) in SHOWN_WHOLE.items():
        served.daemon.go_away() if state == "away" else served.daemon.tell(state, **changes)
        phone.goto(served.url)
        phone.evaluate(f"document.documentElement.style.fontSize = '{text_percent}%'")

        assert phone.evaluate("document.documentElement.scrollWidth") == width_px, name
        assert phone.evaluate(NOT_WHOLE) == [], name
        assert phone.evaluate(COVERED) < 0.6, name
        heights = [one.bounding_box()["height"] for one in phone.locator(".bar button").all()]
        assert min(heights) >= LEAST_TARGET_PX, name
        phone.evaluate("scrollTo(0, document.documentElement.scrollHeight)")
        assert phone.evaluate(OUT_OF_REACH) == [], name
    served.daemon.come_back()


@pytest.mark.parametrize("width_px", [320, 390])
def test_the_bar_of_the_checklist_covers_nothing_at_the_end_of_the_page(
    open_phone, served, expect, width_px
):
    served.daemon.tell("loaded")
    phone = open_phone(width_px=width_px)
    expect(phone.locator(".to-go")).to_have_css("position", "fixed")

    phone.evaluate("document.querySelectorAll('details').forEach(one => (one.open = true))")
    phone.evaluate("scrollTo(0, document.documentElement.scrollHeight)")

    below_px = phone.evaluate(
        "() => Math.max(...[...document.querySelectorAll('main p, main dd, main button, .foot a')]"
        ".filter((one) => !one.closest('.to-go')).map((one) => one.getBoundingClientRect().bottom))"
        " - document.querySelector('.to-go').getBoundingClientRect().top"
    )
    assert below_px <= 0


def test_every_state_fits_the_narrowest_phone_and_the_widest_finger_and_shuts_nobody_out(
    open_phone, served, axe
):
    # WCAG 2.2, 1.4.10 Reflow (320 px) and 2.5.8 Target Size; AA by axe.
    phone = open_phone(width_px=320)
    for state in (*STATES, "away"):
        if state == "away":
            served.daemon.go_away()
        else:
            served.daemon.tell(state, time_factor=20)
        phone.goto(served.url)
        phone.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")

        assert phone.evaluate("document.documentElement.scrollWidth") == 320, state
        buttons = phone.locator("button, .tick").all()
        heights = [button.bounding_box()["height"] for button in buttons]
        assert min(heights, default=LEAST_TARGET_PX) >= LEAST_TARGET_PX, state
        assert violations(phone, axe) == [], state
    assert phone.complaints == []


CALLS = """
window.calls = [];
navigator.vibrate = (pattern) => window.calls.push("buzz " + pattern.length) > 0;
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (at) { window.calls.push("tone"); start.call(this, at); };
"""


def test_a_trip_calls_somebody_by_title_sound_and_buzz_until_the_page_is_touched(
    open_phone, served, expect
):
    phone = open_phone("/nowhere")
    phone.add_init_script(CALLS)
    served.daemon.tell("etching")
    phone.goto(served.url)
    phone.locator("h1").tap()  # a page that was never touched may not sound

    served.daemon.tell("tripped")
    expect(phone).to_have_title("● Stopped – Etchwarden")
    phone.locator("h1").tap()

    expect(phone).to_have_title("Stopped – Etchwarden")
    assert phone.evaluate("window.calls") == ["buzz 5", "tone", "tone", "tone"]


def test_a_fire_is_said_in_alarm_colour_at_the_top_however_far_one_has_scrolled(
    open_phone, served, expect
):
    served.daemon.tell("complete")
    phone = open_phone(width_px=320)
    phone.evaluate("scrollTo(0, document.body.scrollHeight)")

    served.daemon.tell("complete", interlocks=box(trips=[FIRE]), may=["reset"])
    alarm = phone.locator(".first-line")
    expect(alarm).to_have_text("Fire or smoke in the box")
    expect(phone).to_have_title("● Fire or smoke in the box – Etchwarden")
    expect(phone.get_by_text("Cut the mains supply")).to_be_in_viewport()
    expect(phone.locator(".bench")).to_be_hidden()
    phone.get_by_text("Everything else").tap()
    phone.evaluate("scrollTo(0, document.body.scrollHeight)")

    assert phone.evaluate("scrollY") > 200
    box_px = alarm.bounding_box()
    assert (box_px["x"], box_px["y"], box_px["width"]) == (0, 0, 320)
    colour = "getComputedStyle(document.querySelector('.first-line')).backgroundColor"
    assert phone.evaluate(colour) == "rgb(176, 13, 26)"


def test_a_hold_this_phone_asked_for_calls_nobody_and_sound_can_be_switched_off(
    open_phone, served, expect
):
    phone = open_phone("/nowhere")
    phone.add_init_script(CALLS)
    served.daemon.tell("etching")
    phone.goto(served.url)
    sound = phone.get_by_role("button", name="Sound alerts")
    expect(sound).to_have_attribute("aria-pressed", "true")
    sound.tap()

    with phone.expect_response("**/hold"):
        phone.get_by_role("button", name="Hold at the row’s end").tap()
    served.daemon.tell("held")
    expect(phone.locator("h1")).to_have_text("Held")
    assert phone.evaluate("window.calls") == []
    served.daemon.tell("failed")
    expect(phone.locator("h1")).to_have_text("It did not finish")

    assert "tone" not in phone.evaluate("window.calls")
    expect(sound).to_have_attribute("aria-pressed", "false")


def test_with_the_keyboard_alone_one_comes_from_the_top_to_the_stop_in_the_pages_order(
    open_phone, served
):
    # WCAG 2.2, 2.1.1 Keyboard and 2.4.3 Focus Order.
    served.daemon.tell("etching")
    phone = open_phone()
    reached = []

    while "Stop" not in reached and len(reached) < 30:
        phone.keyboard.press("Tab")
        reached.append(phone.evaluate("document.activeElement.innerText.trim()"))
    with phone.expect_response("**/stop"):
        phone.keyboard.press("Enter")

    order = ["Skip to the page", "Watch", "Logbook", "A shade lighter", "A shade darker",
             "Hold at the row’s end", "Hold now", "Stop"]  # fmt: skip
    assert [words for words in reached if words in order] == order
    assert served.daemon.asked == ["stop"]


def test_what_changes_is_announced(open_phone, served, expect):
    # WCAG 2.2, 4.1.3 Status Messages.
    served.daemon.tell("etching")
    phone = open_phone()
    spoken = phone.get_by_role("status")

    served.daemon.tell("held")

    expect(spoken).to_have_text(
        f"Held. At rest after row 413; the beam is off. {HELD_BECAUSE} Press Resume."
    )


def test_nothing_moves_for_whoever_asked_for_less_motion(open_phone, served, expect):
    # WCAG 2.2, 2.3.3, and the media query prefers-reduced-motion.
    served.daemon.tell("etching")
    lasts = "getComputedStyle(document.querySelector('.row-in-work')).transitionDuration"
    lively = open_phone(reduced_motion="no-preference")

    expect(lively.locator("body")).to_have_class("is-live")

    assert lively.evaluate(lasts) == "0.4s"
    assert open_phone().evaluate(lasts) == "0s"
