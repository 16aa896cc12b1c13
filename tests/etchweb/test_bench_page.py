"""*Bench*: pictures laid into a jig by the page, and loaded as one job."""

import html
import json
import re
import shutil
import threading
from dataclasses import asdict, replace
from functools import cache
from urllib.parse import parse_qs, urlencode

import numpy as np
import pytest

from etchphoto.expected import save_expected
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import write_dots
from etchphoto.layout.jig import Jig
from etchweb.bench import again, views
from etchweb.bench.next_jig import Waiting, fitting
from etchweb.bench.ready import ready_pictures
from etchweb.drafts.made import JobFinding, MadeJob
from etchweb.drafts.store import FOUND_NAME, JOB_FOLDER
from etchweb.storage.made_from import made_from
from etchwire.catalogue.jigs import JigRecord
from etchwire.sheet import PICTURE_NAME
from support.fakes.catalogue_answers import HEAD, RECIPE
from support.fakes.fake_catalogue import ORDER, ORDER_LINE
from support.fakes.fake_daemon import ETCH, JOB, STAYS
from support.samples.sheets import JIG_TABLE

pytestmark = pytest.mark.usefixtures("waiting_for_work")

PATIENCE_S = 60


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Return a call that writes the job of a picture, once for a name and width, and its sheet."""

    @cache
    def written(name, width):
        job = tmp_path_factory.mktemp("job")
        bits = np.random.default_rng(len(name)).random((100, width)) < 0.5
        order = PhotoOrder(head=HEAD, recipe=RECIPE, width_mm=width / 10, title=name)
        sheet = write_dots(bits, order, job)
        save_expected(bits, job / PICTURE_NAME)
        return job, sheet

    return written


@pytest.fixture
def ready(drafts, written):
    """Return a call that makes a draft whose job is made: a picture of 20 × 10 mm."""

    def make(name, *, width=200, must_be_read=False, recipe=RECIPE, **changes):
        draft = replace(
            drafts.begin(f"{name}.jpg"), width_mm=width / 10, head=HEAD, recipe=recipe, **changes
        )
        drafts.keep(draft)
        folder = drafts.folder_of(draft.id)
        (folder / "photo").write_bytes(name.encode())
        job, sheet = written(name, width)
        shutil.copytree(job, folder / JOB_FOLDER)
        made = MadeJob(
            of=draft.found_key,
            findings=(
                JobFinding(name="spacing", sentence="Read this.", must_be_read=must_be_read),
            ),
            burnt=0.5,
            predicted_s=sheet.predicted_s,
            columns=width,
            rows=100,
            size_mm=(width / 10, 10.0),
            at_mm=(0.0, 0.0),
            reach_mm=(0.0, 0.0, 1.0, 1.0),
            gcode_sha256=sheet.gcode_sha256,
        )
        (folder / FOUND_NAME).write_text(json.dumps(asdict(made)))
        return draft.id

    return make


def text_of(answer):
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", answer.text)).split())


def test_a_plan_shows_what_lies_where_to_scale_and_which_pockets_stay_empty(phone, ready):
    ida, zoe = ready("Ida"), ready("Zoe")

    page = phone.look(f"/bench?jig=Signs&pocket-1={ida}&pocket-3={zoe}")

    assert page.status_code == 200
    said = text_of(page)
    assert "2 tiles, etched in this order: pocket 1, 3." in said
    assert "Nothing lies in pocket 2: an empty pocket is left out." in said
    assert "The exhaust is at the left" in said
    # Pocket 1 begins 4 mm from the drawing's edge; its picture of 20 × 10 mm lies in its middle.
    assert '<rect x="4.00" y="4.00" width="61.00" height="41.00"' in page.text
    assert f'/new/{ida}/seen.jpg" x="24.50" y="19.50" width="20.00" height="10.00"' in page.text
    assert re.search(r">1 · 1\.<", page.text)
    assert f'name="pocket-3" value="{zoe}"' in page.text


def test_only_pictures_whose_proof_is_made_are_offered_and_what_must_be_read_is_said(
    phone, ready, drafts
):
    ready("Ida")
    unread = ready("unread one", must_be_read=True)
    drafts.begin("unmade.jpg")
    laid = {"jig": "Signs", "pocket-2": unread}

    assert "Read this." in text_of(phone.look(f"/bench?jig=Signs&pocket-2={unread}"))
    refused = phone.press("bench", form=laid)
    assert (refused.status_code, views.UNREAD in text_of(refused)) == (422, True)

    said = text_of(phone.look("/bench?jig=Signs"))

    assert "Ida, 20 × 10 mm" in said
    assert "unmade" not in said
    assert "The plan is empty." in said


def test_a_plan_that_would_end_after_closing_time_says_so(phone, daemon, ready):
    asked = []

    def answer(lasts_s):
        asked.append(lasts_s)
        return {"stays": STAYS}

    ida, zoe = ready("Ida"), ready("Zoe")
    alone = phone.look(f"/bench?jig=Signs&pocket-1={ida}").text
    daemon.answers["confirmations"] = answer
    page = phone.look(f"/bench?jig=Signs&pocket-1={ida}").text
    phone.look(f"/bench?jig=Signs&pocket-1={ida}&pocket-3={zoe}")

    assert STAYS not in alone
    assert f'<p class="advice">{STAYS}</p>' in page
    assert asked[1] == pytest.approx(2 * asked[0], rel=0.1)  # all tiles, not the first


def test_without_a_jig_the_page_leads_to_measuring_one(phone, daemon):
    daemon.answers["jigs"] = {"jigs": []}

    assert 'href="/bench/jig"' in phone.look("/bench").text
    answer = phone.press("bench", form={"jig": "Signs"})
    assert (answer.status_code, views.NO_JIG in text_of(answer)) == (422, True)


@pytest.mark.slow
def test_what_is_laid_is_loaded_as_one_job_of_the_lot_s_tiles(
    real_children, phone, daemon, ready, monkeypatch, tmp_path
):
    monkeypatch.setattr(views, "WAIT_S", PATIENCE_S)
    ida, zoe = ready("Ida"), ready("Zoe")

    answer = phone.press("bench", form={"jig": "Signs", "pocket-1": ida, "pocket-3": zoe})

    assert (answer.status_code, answer.location) == (303, "/"), text_of(answer)
    sheet = daemon.said["load"]["sheet"]
    assert [(part.pocket, part.title) for part in sheet.parts] == [(1, "Ida"), (3, "Zoe")]
    assert sheet.parts[0].picture.left_mm == pytest.approx(5 + 30.5 - 10)
    assert (tmp_path / "pictures" / f"{sheet.gcode_sha256}-small.jpg").exists()
    # Another plan takes its place; what cannot be laid is said.
    wide = ready("wide one", width=700)
    refused = phone.press("bench", form={"jig": "Signs", "pocket-1": wide})
    assert refused.status_code == 422
    assert "The picture of pocket 1, 70.0 × 10.0 mm, reaches beyond its tile" in text_of(refused)
    thick = phone.press("bench", form={"jig": "Signs", "pocket-1": ida, "thickness_mm": "9"})
    assert "is 9 mm thick, and Signs is for 8 mm" in text_of(thick)
    assert list((tmp_path / "bench").iterdir()) == []  # what came to nothing leaves nothing
    # How deep the laser's focus is, its newest focus card says where the jig says nothing.
    (jig,) = daemon.answers["jigs"]["jigs"]
    daemon.answers["jigs"] = {"jigs": [jig | {"jig": jig["jig"] | {"focus_depth_mm": 0.0}}]}
    (lot, *_) = daemon.answers["lots"]["lots"]
    warped = {"lots": [lot | {"lot": lot["lot"] | {"warp_mm": 1.0}}]}
    daemon.answers["lots"] = warped
    laid = {"jig": "Signs", "pocket-1": ida, "lot": lot["name"]}
    assert "in focus over 0.2 mm" in text_of(phone.press("bench", form=laid))
    shown = {"id": 1, "card_number": 1, "kind": "focus", "head": HEAD.name, "surface": "white",
             "way": "camera", "marks": {}, "photos": [], "summary": {"in_focus_mm": 1.2},
             "recommended": None, "chosen": None, "chosen_by": None, "chosen_at_utc": None,
             "at_utc": "", "who": "", "software": ""}  # fmt: skip
    daemon.answers["readings"] = {"readings": [shown], "next_before": None}
    assert phone.press("bench", form=laid).status_code == 303


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"pocket-1": "0123456789abcdef"}, "A picture was changed or deleted meanwhile"),
        ({"thickness_mm": "thick"}, "Thickness, mm must be a number"),
        ({"lot": "gone"}, "There is no such painting lot any more"),
    ],
)
def test_what_was_filled_in_amiss_is_said(phone, form, said):
    answer = phone.press("bench", form={"jig": "Signs"} | form)

    assert answer.status_code == 422
    assert said in text_of(answer)


def test_the_next_jig_is_laid_in_one_tap_with_what_is_due_first_and_goes_together(
    phone, daemon, ready, drafts
):
    """Of three orders: one due later, one due first for two tiles, one without a yes."""
    pictures = {number: ready(f"p{number}", order=number, item=number) for number in (1, 2, 3)}
    ready("nobody's")
    facts = {1: ("2026-12-24", 1, "yes"), 2: ("2026-12-01", 2, "yes"), 3: ("", 1, "shown")}
    (item,), (proof,) = ORDER["items"], ORDER["items"][0]["proofs"]

    def order(**asked):
        number = asked["id"]
        due_on, to_make, answer = facts[number]
        design = drafts.design_sha256(drafts.find(pictures[number]))
        one = item | {
            "id": number, "to_make": to_make,
            "item": item["item"] | {"design_sha256": design, "draft": pictures[number]},
            "proofs": [proof | {"answer": answer, "is_current": True}],
        }  # fmt: skip
        return ORDER | {"id": number, "due_on": due_on, "items": [one]}

    daemon.answers["order"] = order
    daemon.answers["orders"] = {
        "orders": [ORDER_LINE | {"state": "ready"}], "total": 1, "next_from": None,
    }  # fmt: skip
    assert 'href="/bench/next"' in phone.look("/orders").text

    laid = parse_qs(phone.look("/bench/next?jig=Signs").location.partition("?")[2])

    assert laid["jig"] == ["Signs"]
    pockets = [laid[f"pocket-{number}"][0] for number in (1, 2, 3)]
    assert pockets == [pictures[2], pictures[2], pictures[1]]
    facts[2] = ("2026-12-01", 0, "yes")
    laid = parse_qs(phone.look("/bench/next").location.partition("?")[2])
    assert [laid[name] for name in laid if name.startswith("pocket")] == [[pictures[1]]]


def test_one_run_has_one_recipe_and_what_is_larger_than_a_pocket_waits(phone, ready, drafts):
    slow = replace(RECIPE, feed_mm_per_min=1000.0)
    ready("wide one", width=700)
    ready("Ida")
    ready("slow one", recipe=slow)
    jig = Jig.of_record(JigRecord.from_table(JIG_TABLE))
    with phone.client.application.test_request_context("/"):
        waiting = [
            Waiting(draft, picture, "", 1)
            for draft, picture in sorted(
                ready_pictures().values(), key=lambda one: one[0].title != "wide one"
            )
        ]

    chosen = fitting(jig, waiting)

    assert len(chosen) == 1
    assert chosen[0].title in ("Ida", "slow one")


def test_a_picture_of_an_order_waits_for_the_customer_s_yes(phone, daemon, ready):
    ida = ready("Ida", order=3, item=1)

    answer = phone.press("bench", form={"jig": "Signs", "pocket-1": ida})

    assert answer.status_code == 422
    assert "The customer has not said yes to “Ida” as it is now" in text_of(answer)
    assert "load" not in daemon.said


LAID_UTC = "2026-11-23T08:00:00+00:00"


def lot_entry(daemon, name, **facts):
    """Return a dry painting lot as the logbook tells of it."""
    (_, dry) = daemon.answers["lots"]["lots"]
    return dry | {"name": name, "lot": dry["lot"] | {"name": name} | facts}


@pytest.fixture
def two_lots(daemon):
    """Two dry lots, of which the first was in use when the recipe was found; a third is wet."""
    (wet, _) = daemon.answers["lots"]["lots"]
    dry = [lot_entry(daemon, name, painted_at_utc=LAID_UTC) for name in ("lot 7", "lot 9")]
    daemon.answers["lots"] = {"lots": [wet, *dry]}
    (recipe, *_) = daemon.answers["recipes"](head=HEAD.name)["recipes"]
    found_on = recipe["found_on"] | {"lot": "lot 7"}
    daemon.answers["recipes"] = {"recipes": [recipe | {"found_on": found_on}]}


@pytest.mark.usefixtures("two_lots")
def test_each_pocket_may_be_of_a_dry_lot_of_its_own_and_a_new_lot_is_said_of_its_pocket(
    phone, ready
):
    ida, zoe = ready("Ida"), ready("Zoe")
    address = f"/bench?jig=Signs&pocket-1={ida}&pocket-3={zoe}"

    page = phone.look(f"{address}&lot=lot+7&lot-3=lot+9")

    assert "Pocket 3: no check strip of lot lot 9 has been read yet." in text_of(page)
    assert "Pocket 1: no check strip" not in text_of(page)
    assert 'name="lot-1"' in page.text
    assert '<option value="lot 9" selected>lot 9, no check strip yet</option>' in page.text
    assert "wet" not in page.text
    assert "no check strip of" not in text_of(phone.look(f"{address}&lot=lot+7"))


@pytest.fixture
def patience(monkeypatch):
    monkeypatch.setattr(views, "WAIT_S", PATIENCE_S)


def lay(phone, **laid):
    form = {"jig": "Signs"} | {name.replace("_", "-"): one for name, one in laid.items()}
    answer = phone.press("bench", form=form)
    assert (answer.status_code, answer.location) == (303, "/"), text_of(answer)


def pockets_in(page):
    """Return the pockets of which a page offers to lay the tile again."""
    return re.findall(r'name="pocket" value="(\d)"', page)


def plan_of(answer):
    """Return the plan to which an answer leads, by its fields."""
    asked = parse_qs(answer.location.partition("?")[2])
    return {name: value for name, (value,) in asked.items()}


@pytest.mark.slow
@pytest.mark.usefixtures("two_lots", "patience")
def test_the_logbook_hears_of_which_lot_each_tile_of_the_run_is(phone, daemon, ready):
    lay(phone, pocket_1=ready("Ida"), pocket_3=ready("Zoe"), lot="lot 7", lot_3="lot 9")

    said = daemon.said["assign_tile"]
    lots = {one["pocket"]: one["lot"] for one in said["tiles"]}

    assert (said["lot"], lots) == ("lot 7", {1: "", 3: "lot 9"})


@pytest.mark.slow
@pytest.mark.usefixtures("patience")
def test_a_bench_run_of_no_order_is_laid_again_whole_or_one_tile_of_it_alone(
    phone, daemon, ready, drafts, tmp_path
):
    """As it was etched: a picture that was changed since comes back as it was."""
    ida, zoe = ready("Ida"), ready("Zoe")
    lay(phone, pocket_1=ida, pocket_2=zoe, pocket_3=ida)
    sha256 = daemon.said["load"]["sheet"].gcode_sha256
    tile = {
        "first_row": 0, "rows": 100, "etched_rows": 100, "item_id": None, "ended": "complete",
        "elapsed_s": 9.0, "feed_run_mm_per_min": None, "power_run_ratio": None, "verdict": None,
        "lot": "lot 7",
    }  # fmt: skip
    tiles = [tile | {"pocket": pocket, "title": f"tile {pocket}"} for pocket in (1, 2, 3)]
    daemon.answers["run"] = lambda **_: ETCH | {"gcode_sha256": sha256, "tiles": tiles}

    whole_run = daemon.answers["run"]
    rest = {"id": 8, "gcode_sha256": "cd" * 32, "continues_run_id": 7}
    daemon.answers["run"] = lambda **asked: whole_run() | (rest if asked["id"] == 8 else {})
    of_the_rest = phone.look("/logbook/8").text
    again_of_the_rest = plan_of(phone.press("bench/again/8", form={"pocket": "3"}))

    offered = phone.look("/logbook/7").text
    alone = plan_of(phone.press("bench/again/7", form={"pocket": "2"}))
    whole = plan_of(phone.press("bench/again/7"))
    drafts.keep(replace(drafts.find(zoe), contrast=30))
    anew = plan_of(phone.press("bench/again/7", form={"pocket": "2"}))
    drafts.forget(ida)
    from_what_is_kept = plan_of(phone.press("bench/again/7"))

    assert pockets_in(offered) == ["1", "2", "3"]
    assert pockets_in(of_the_rest) == ["1", "2", "3"]  # of a run that was cut and went on
    assert again_of_the_rest == {"jig": "Signs", "pocket-3": ida}
    assert "Painting lot lot 7." in offered
    assert alone == {"jig": "Signs", "pocket-2": zoe}
    assert whole == {"jig": "Signs", "pocket-1": ida, "pocket-2": zoe, "pocket-3": ida}
    assert drafts.find(anew["pocket-2"]).contrast == 0
    assert from_what_is_kept["pocket-1"] == from_what_is_kept["pocket-3"] != ida
    assert drafts.find(from_what_is_kept["pocket-1"]).title == "Ida"
    kept = made_from(tmp_path, sha256)
    assert sorted(one.name for one in kept.iterdir()) == sorted([ida, zoe, "laid.json"])


@pytest.mark.slow
@pytest.mark.usefixtures("patience")
def test_before_its_start_a_loaded_bench_is_laid_otherwise(phone, daemon, ready):
    ida, zoe = ready("Ida"), ready("Zoe")
    lay(phone, pocket_1=ida, pocket_3=zoe)
    sha256 = daemon.said["load"]["sheet"].gcode_sha256
    daemon.tell("loaded", job=JOB | {"sha256": sha256, "pockets": [1, 3]})

    page = phone.look("/").text
    plan = phone.look("/bench/loaded")
    shown = phone.look(plan.location)

    assert 'href="/bench/loaded"' in page
    assert "every other pocket is left out" in page
    assert plan_of(plan) == {"jig": "Signs", "pocket-1": ida, "pocket-3": zoe}
    assert re.findall(r'type="hidden" name="(pocket-\d)"', shown.text) == ["pocket-1", "pocket-3"]


def test_what_is_kept_no_more_cannot_be_laid_again_and_is_not_offered(phone, daemon):
    daemon.answers["run"] = lambda **_: ETCH | {"tiles": []}

    answer = phone.press("bench/again/7")

    assert (answer.status_code, again.NOT_KEPT in text_of(answer)) == (404, True)
    assert phone.look("/bench/loaded").location == "/bench"
    assert "/bench/again" not in phone.look("/logbook/7").text


def test_an_order_s_picture_is_not_kept_a_second_time_with_its_bench(app, ready, drafts, tmp_path):
    """Its customer may have it deleted, and then it is gone with the order's own."""
    ida, zoe = (drafts.find(ready(name)) for name in ("Ida", "Zoe"))
    laid = tmp_path / "laid.json"
    laid.write_text("{}")

    with app.test_request_context("/"):
        again.keep_laid("ab" * 32, laid, [ida, replace(zoe, order=3, item=1)])

    kept = made_from(tmp_path, "ab" * 32)
    assert sorted(one.name for one in kept.iterdir()) == sorted([ida.id, "laid.json"])


def test_a_plan_that_was_cut_off_while_it_was_prepared_is_said_and_shown_again(
    phone, ready, tmp_path
):
    """As a power cut leaves it: what was sent is written down, and there is no job."""
    ida = ready("Ida")
    folder = tmp_path / "bench" / "0123456789abcdef"
    folder.mkdir(parents=True)
    sent = {"jig": "Signs", "pocket-2": ida, "lot": "lot 7"}
    (folder / "plan.json").write_text(json.dumps({"name": "Signs", "form": sent}))

    page = phone.look("/bench")

    assert "Nothing of it is loaded." in text_of(page)
    address = html.unescape(re.search(r'href="(/bench/make[^"]*)"', page.text)[1])
    assert plan_of(phone.look(address)) == sent
    (folder / "plan.json").write_text('{"name": "Sig')
    assert "/bench/make" not in phone.look("/bench").text


def test_pictures_of_a_plan_that_changed_are_prepared_by_its_form_alone(app, phone, ready, drafts):
    """An address that is opened begins nothing: browsers open some ahead, and open tabs again."""
    ida, zoe = ready("Ida"), ready("Zoe")
    drafts.keep(replace(drafts.find(zoe), contrast=30))
    plan = {"jig": "Signs", "pocket-1": ida, "pocket-3": zoe, "lot": "lot 7"}
    work = app.extensions["etchweb works"]

    led_to = phone.look("/bench/make?" + urlencode(plan))
    page = phone.look(led_to.location)
    assert (led_to.status_code, plan_of(led_to), work.of(zoe)) == (303, plan, None)
    assert re.search(r"Changed since, or not prepared yet: “Zoe”\s*\.", text_of(page))
    form = re.search(r'action="/bench/make">(.*?)</form>', page.text, re.DOTALL)[1]
    assert dict(re.findall(r'name="([^"]*)" value="([^"]*)"', form)).items() >= plan.items()
    assert phone.press("bench/make", form=plan | {"form_token": "another's"}).status_code == 403
    assert work.of(zoe) is None

    answer = phone.press("bench/make", form=plan | {"_scheme": "gopher"})

    assert (answer.status_code, plan_of(answer)) == (303, plan)
    assert (work.of(ida), work.of(zoe).verb) == (None, "make")
    assert answer.location.startswith("/bench/make?")
    assert phone.look(answer.location).status_code == 422  # nobody can make a job of such a photo
    assert plan_of(phone.look(answer.location)) == plan  # which is told once


@pytest.mark.slow
@pytest.mark.usefixtures("patience")
def test_of_two_phones_that_lay_the_jig_at_once_the_first_hears_of_the_second(
    real_children, phone, daemon, ready, tmp_path
):
    ida, zoe = ready("Ida"), ready("Zoe")
    answers = []
    first = threading.Thread(
        target=lambda: answers.append(phone.press("bench", form={"jig": "Signs", "pocket-1": ida}))
    )

    first.start()
    while not list(tmp_path.glob("bench/*/plan.json")):
        first.join(0.01)
    second = phone.press("bench", form={"jig": "Signs", "pocket-2": zoe})
    first.join()

    assert second.location == "/"
    assert (answers[0].status_code, views.OTHER_PLAN in text_of(answers[0])) == (409, True)
    assert [part.title for part in daemon.said["load"]["sheet"].parts] == ["Zoe"]
