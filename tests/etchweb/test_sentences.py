"""The list of all that the page can say is current, and keeps to the shop's words."""

import re

import pytest

from support.page_sentences import LIST, WEB, sentences_as_markdown, sentences_of

# Ways to halftone, the letter of G-code, the daemon and its socket: a phone shows none of them.
NOT_FOR_A_PHONE = re.compile(
    r"(?i:\b(jarvis|floyd|stucki|atkinson|daemon|socket)\b)|/run/|/dev/|(?<![’'\w(])S\b"
)
SHOWN = [*WEB.glob("templates/**/*.html"), *WEB.glob("static/**/*.js")]
OLD_WORDS = ("take it up again", "put it on the bench", "test tile", "shut out", "lend it a hand",
             "find its ends", "lay it out", "put away", "keep it", "go on without")  # fmt: skip


@pytest.mark.slow
def test_the_list_of_sentences_is_current():
    # `PYTHONPATH=tests python -m support.page_sentences` writes it anew.
    assert LIST.read_text("utf-8") == sentences_as_markdown()


def test_no_template_and_no_script_shows_what_only_programmers_say():
    said = [one for path in SHOWN for one in sentences_of(path)]

    assert len(said) > 300
    assert [one for one in said if NOT_FOR_A_PHONE.search(one)] == []


def test_one_thing_has_one_name():
    said = [one.lower() for path in SHOWN for one in sentences_of(path)]

    assert [one for one in said if any(words in one for words in OLD_WORDS)] == []
