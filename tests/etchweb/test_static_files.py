"""Styles and scripts are sent packed to who takes that, and as they are to who does not."""

import gzip
import re
from pathlib import Path

import pytest

import etchweb

STATIC = Path(etchweb.__file__).parent / "static"


@pytest.mark.parametrize(
    "name", ["server/bench.css", "text/dates.js", "server/icon.svg", "server/manifest.json"]
)
def test_a_script_or_style_is_packed_for_who_takes_that(phone, app, name):
    address = f"{app.static_url_path}/{name}"

    with phone.look(address, **{"Accept-Encoding": "gzip, br"}) as packed:
        assert packed.headers["Content-Encoding"] == "gzip"
        assert gzip.decompress(packed.data) == (STATIC / name).read_bytes()
    with phone.look(address) as plain:
        assert "Content-Encoding" not in plain.headers
        assert plain.data == (STATIC / name).read_bytes()

    assert packed.mimetype == plain.mimetype
    for answer in (packed, plain):  # RFC 9110, 12.5.5: what an answer was chosen by
        assert answer.headers["Vary"] == "Accept-Encoding"
        assert "immutable" in answer.headers["Cache-Control"]


def test_who_refuses_packed_files_gets_none(phone, app):
    # RFC 9110, 12.4.2: a weight of 0 means "not acceptable".
    with phone.look(
        f"{app.static_url_path}/server/bench.css", **{"Accept-Encoding": "gzip;q=0, br"}
    ) as answer:
        assert "Content-Encoding" not in answer.headers


def test_pictures_are_sent_as_they_are(phone, app):
    with phone.look(
        f"{app.static_url_path}/server/icon-192.png", **{"Accept-Encoding": "gzip"}
    ) as answer:
        assert "Content-Encoding" not in answer.headers


@pytest.mark.parametrize("name", ["server/nothing.css", "../app.py", "..%2F..%2Fapp.css", "%00.js"])
def test_what_is_not_there_is_not_found(phone, app, name):
    answer = phone.look(f"{app.static_url_path}/{name}", **{"Accept-Encoding": "gzip"})

    assert answer.status_code in (400, 404)


def test_no_page_is_packed(phone):
    # Its form's token beside words that others chose (the BREACH attack, 2013): never together.
    answer = phone.look("/logbook?text=abc", **{"Accept-Encoding": "gzip"})

    assert "Content-Encoding" not in answer.headers


def test_the_dark_scheme_changes_colours_and_nothing_else():
    """So what tests of the page in a dark scheme look at are colours."""
    dark = re.compile(r"@media [^{]*prefers-color-scheme[^{]*\{\s*:root \{([^}]*)\}\s*\}")
    colour = re.compile(r"--[\w-]+: (#[0-9a-f]{6}|rgb\([^)]*\));")
    texts = [path.read_text() for path in STATIC.rglob("*") if path.suffix in {".css", ".js"}]

    blocks = [block for text in texts for block in dark.findall(text)]
    lines = [line.strip() for block in blocks for line in block.strip().splitlines()]

    assert lines
    assert [line for line in lines if not colour.fullmatch(line)] == []
    assert sum(text.count("prefers-color-scheme") for text in texts) == len(blocks)
