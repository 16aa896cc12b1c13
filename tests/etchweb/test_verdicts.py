import html
import io
import re

import pytest
from PIL import Image

from etchweb.logbook.verdict_presenter import CHOICES, LONGEST_TEXT
from etchweb.logbook.verdict_views import NO_VERDICT, TOO_LONG
from etchweb.previews.store import PICTURES_FOLDER
from etchweb.server.csrf_and_headers import LARGEST_PHOTO_BYTES
from etchweb.storage.tile_photos import LONGER_SIDE_PX
from etchwire.catalogue.records import VERDICTS
from etchwire.errors import Refused
from support.fakes.fake_daemon import ETCH, answer_run

SECRET = b"taken at 51.5 north"
SAID = {"id": 1, "verdict": "banded", "cause": "dirty lens", "note": "rows 300 on", "photo": "",
        "at_utc": "2026-11-25T18:00:00Z", "who": "Ann’s phone"}  # fmt: skip


@pytest.fixture
def say(phone, daemon):
    """Return a function that sends the form as a browser does, with a photo or without."""
    daemon.answers["save_verdict"] = lambda **said: (
        daemon.said.update(save_verdict=said) or {"id": 1}
    )

    def say(photo=None, name="IMG_1.jpg", number=7, **form):
        form = {"verdict": "good"} | form
        form["form_token"] = phone._form_token
        if photo is not None:
            form["photo"] = (io.BytesIO(photo), name)
        return phone.client.post(
            f"/logbook/{number}/verdict",
            data=form,
            headers={"Origin": "http://localhost"},
            content_type="multipart/form-data",
        )

    return say


def photo_of(kind="JPEG", size=(2400, 1200), **options):
    file = io.BytesIO()
    Image.new("RGB", size, (240, 238, 230)).save(file, kind, **options)
    return file.getvalue()


def test_every_verdict_of_the_logbook_has_its_words():
    assert [choice.word for choice in CHOICES] == list(VERDICTS)


def test_a_verdict_goes_to_the_logbook_with_who_said_it(say, daemon):
    answer = say(verdict="pale", cause=" paint not dry ", note="")

    assert (answer.status_code, answer.location) == (303, "/logbook/7#verdict")
    assert daemon.said["save_verdict"] == {
        "run": 7, "verdict": "pale", "cause": "paint not dry", "note": "", "photo": "", "who": "",
        "pocket": None,
    }  # fmt: skip


@pytest.mark.slow
def test_a_photo_is_made_anew_so_that_nothing_hidden_in_it_is_kept(say, phone, daemon):
    turned = Image.Exif()
    turned[0x0112] = 6
    turned[0x010E] = SECRET.decode()
    polyglot = photo_of(exif=turned) + b"<script>alert(1)</script>" + SECRET

    say(polyglot, name="../../etc/x.php")
    name = daemon.said["save_verdict"]["photo"]
    with phone.look(f"/tile/{name}") as answer:
        kept = answer.data

    assert answer.mimetype == "image/jpeg"
    assert SECRET not in kept
    assert b"script" not in kept
    with Image.open(io.BytesIO(kept)) as image:
        assert image.size == (LONGER_SIDE_PX // 2, LONGER_SIDE_PX)
        assert not image.getexif()


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_other_kinds_of_photo_are_taken_too(say, daemon, kind):
    assert say(photo_of(kind, (200, 100))).status_code == 303
    assert daemon.said["save_verdict"]["photo"]


@pytest.mark.slow
@pytest.mark.parametrize(
    "photo",
    [b"", b"not a photo", b"<svg xmlns='http://www.w3.org/2000/svg'/>", b"\xff\xd8\xff\xe0cut",
     b"GIF89a" + b"\0" * 100, photo_of()[:600]],
    ids=["empty", "text", "svg", "cut", "gif", "half"],
)  # fmt: skip
def test_what_is_no_photo_is_refused_in_a_sentence_and_nothing_is_kept(
    say, daemon, tmp_path, photo
):
    answer = say(photo, name="wiped.jpg")

    assert answer.status_code == 422
    assert "save_verdict" not in daemon.said
    assert not list((tmp_path / "pictures").glob("tile-*"))
    assert re.search('role="alert">(wiped.jpg |The photo )', answer.text)


def test_a_body_larger_than_any_photo_is_refused(say, phone):
    answer = phone.client.post(
        "/logbook/7/verdict",
        headers={"Origin": "http://localhost"},
        environ_overrides={"CONTENT_LENGTH": str(4 * 1024**3)},
        content_type="multipart/form-data; boundary=x",
        input_stream=io.BytesIO(b""),
    )

    assert answer.status_code == 413
    assert LARGEST_PHOTO_BYTES < 4 * 1024**3


@pytest.mark.parametrize(
    ("form", "sentence"),
    [
        ({"verdict": ""}, NO_VERDICT),
        ({"verdict": "lovely"}, NO_VERDICT),
        ({"note": "x" * (LONGEST_TEXT + 1)}, TOO_LONG),
    ],
)
def test_what_cannot_be_kept_is_asked_again(say, daemon, form, sentence):
    answer = say(**form)

    assert (answer.status_code, "save_verdict" in daemon.said) == (422, False)
    assert sentence in answer.text


def test_what_the_logbook_refuses_is_told_in_its_words(say, daemon):
    def refuse(**_):
        raise Refused("refused", "run 7 is still going on: let it end and cool first")

    daemon.answers["save_verdict"] = refuse

    answer = say()

    assert answer.status_code == 409
    assert "still going on" in answer.text


def test_a_verdict_without_the_daemon_says_so(say, daemon):
    daemon.go_away()

    assert say().status_code == 503


def test_a_verdict_stands_with_its_etch_and_in_the_list(phone, daemon):
    said = ETCH | {"verdicts": [SAID | {"verdict": "good"}, SAID], "verdict": "banded"}
    daemon.answers["run"] = said
    daemon.answers["runs"] = {"runs": [said], "next_before": None, "notes": []}

    etch, listed = (html.unescape(phone.look(path).text) for path in ("/logbook/7", "/logbook"))

    assert etch.index("Bands across.") < etch.index("Good.")
    assert "Dirty lens. Rows 300 on." in etch
    assert "<strong>Bands across.</strong>" in listed


def test_a_tile_is_judged_only_once_its_etch_is_over(phone, daemon):
    daemon.answers["run"] = ETCH | {"ended": None, "because": None, "elapsed_s": None}

    text = phone.look("/logbook/7").text

    assert "<span>Save</span>" not in text
    assert "cool and wiped" in text


@pytest.mark.parametrize("name", ["tile-x.jpg", "../page.sqlite3", f"tile-{'ab' * 32}.jpg"])
def test_a_photo_that_is_not_there_is_not_found(phone, name):
    assert phone.look(f"/tile/{name}").status_code == 404


TILE = {
    "pocket": 5, "title": "Ida", "first_row": 0, "rows": 500, "etched_rows": 500, "item_id": None,
    "ended": "complete", "elapsed_s": 1200.0, "feed_run_mm_per_min": 3710.0,
    "power_run_ratio": 0.55, "verdict": "good",
}  # fmt: skip


def test_tiles_of_one_run_are_shown_and_judged_each_by_itself(say, phone, daemon):
    unbegun = TILE | {"pocket": 2, "title": "Zoë", "first_row": 500, "etched_rows": 0,
                      "ended": "not begun", "elapsed_s": None, "feed_run_mm_per_min": None,
                      "verdict": None}  # fmt: skip
    said = SAID | {"pocket": 5}
    daemon.answers["run"] = lambda **_: ETCH | {"tiles": [TILE, unbegun], "verdicts": [said]}

    page = " ".join(html.unescape(phone.look("/logbook/7").text).split())

    assert "<dt>Pocket 5: Ida</dt><dd>Etched, 500 of 500 rows in 20 min, 3 710 mm/min on" in (
        page.replace("\N{NARROW NO-BREAK SPACE}", " ").replace("\xa0", " ")
    )
    assert "Not begun, 0 of 500 rows." in page
    assert "Pocket 5: <strong>Bands across.</strong>" in page
    assert '<option value="2">Pocket 2: Zoë</option>' in page
    assert say(pocket="2").status_code == 303
    assert daemon.said["save_verdict"]["pocket"] == 2


def test_one_kept_photo_is_deleted_at_once_and_what_was_said_stays(phone, daemon, tmp_path):
    name, other = (f"tile-{mark * 64}.jpg" for mark in "ab")
    (tmp_path / PICTURES_FOLDER).mkdir(exist_ok=True)
    for file in (name, other):
        (tmp_path / PICTURES_FOLDER / file).write_bytes(photo_of())
    daemon.answers["run"] = lambda **asked: (
        answer_run(**asked) | {"verdicts": [{**SAID, "photo": name}], "verdict": "banded"}
    )
    before = phone.look("/logbook/7").text

    answer = phone.press("logbook/7/forget-photo", form={"name": name})
    of_another_etch = phone.press("logbook/7/forget-photo", form={"name": other})
    after = phone.look("/logbook/7").text

    assert f"/tile/{name}" in before
    assert (answer.status_code, of_another_etch.status_code) == (303, 404)
    assert [path.name for path in (tmp_path / PICTURES_FOLDER).glob("tile-*")] == [other]
    assert f"/tile/{name}" not in after
    assert "Its photo is not kept any more." in after
    assert "Rows 300 on" in after
