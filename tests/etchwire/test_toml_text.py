"""TOML that people write: whatever it is, it is read or refused in words that name the place."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from etchwire.errors import UnreadableToml
from etchwire.toml_text import read_toml

BEGIN = "[head]\n# a comment\n"
# The limits of whole numbers are those of TOML 1.0.0, section "Integer".
LARGEST = 2**63 - 1
UNREADABLE = [
    ("power = " + "9" * 5000, "line 3: a number of 5000 digits"),
    ("power = " + "9" * 20_000, "line 3: a number of 20000 digits"),
    (f"power = {LARGEST + 1}", "“head.power” is too large"),
    (f"power = {-LARGEST - 2}", "“head.power” is too large"),
    ("power = 0x" + "F" * 30_000, "“head.power” is too large"),
    ("pins = [1, {pin = 0b1" + "0" * 64 + "}]", "“head.pins.[2].pin” is too large"),
    ("power = " + "[" * 5000, "brackets in brackets"),
    ("power = " + "{a = " * 5000, "brackets in brackets"),
    (".".join("a" * 500) + " = 1", "“head.a.a.a…” has tables in tables"),
    ("power = 1 2", "line 3, column 11"),
    ('power = "ten', "up to its end, line 3"),
]


@pytest.mark.parametrize(("line", "said"), UNREADABLE)
def test_what_cannot_be_used_is_named_with_its_place(line, said):
    with pytest.raises(UnreadableToml) as refused:
        read_toml(BEGIN + line)

    assert said in str(refused.value)
    assert len(str(refused.value)) < 200


@pytest.mark.parametrize("number", [LARGEST, -LARGEST - 1, 0, -1, True])
def test_every_whole_number_of_64_bits_is_taken(number):
    assert read_toml(f"power = {str(number).lower()}") == {"power": number}


WORDS = [
    *[
        "[a]",
        "[[a]]",
        "a",
        "a.b",
        "=",
        "1",
        "-",
        "0x",
        "'",
        '"""',
        "{",
        "}",
        "[",
        "]",
        ",",
        "1e999",
        "nan",
        "true",
        "1979-05-27",
        "#",
        "\\u",
        "é",
        "\x00",
    ],
    *("\n", "9" * 20, "9" * 4301),
]


@given(st.lists(st.one_of(st.sampled_from(WORDS), st.text(max_size=5)), max_size=20).map("".join))
def test_any_text_is_read_or_refused(text):
    try:
        read_toml(text)
    except UnreadableToml as refused:
        assert str(refused)  # noqa: PT017 - anything else that is raised fails the test
