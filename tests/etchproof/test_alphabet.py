from itertools import combinations

import numpy as np
import pytest

from etchproof.layout.alphabet import (
    ADVANCE,
    GLYPH_HEIGHT,
    GLYPH_WIDTH,
    STROKES,
    can_write,
    draw_text,
)

TEXT = {"height_dots": 18, "pen_dots": 3}


def test_every_letter_stays_in_its_own_box():
    points = [pair for strokes in STROKES.values() for pair in strokes.replace("|", " ").split()]

    assert all(int(x) <= GLYPH_WIDTH and int(y) <= GLYPH_HEIGHT for x, y in points)


def test_no_two_letters_look_alike():
    drawn = {letter: draw_text(letter, **TEXT) for letter in STROKES if letter != " "}

    differences = {
        f"{one} {other}": int(np.count_nonzero(drawn[one] != drawn[other]))
        for one, other in combinations(drawn, 2)
    }

    assert min(differences.values()) >= 14, min(differences.items(), key=lambda pair: pair[1])


@pytest.mark.parametrize("letter", sorted(set(STROKES) - {" "}))
def test_a_letter_is_as_wide_as_a_pen_everywhere(letter):
    bits = draw_text(letter, **TEXT)

    padded = np.pad(bits, 1)
    alone = bits & ~(padded[:-2, 1:-1] | padded[2:, 1:-1] | padded[1:-1, :-2] | padded[1:-1, 2:])

    assert bits.any()
    assert not alone.any()


def test_letters_follow_one_another_at_an_even_pace():
    apart = np.flatnonzero(draw_text("II", **TEXT).all(axis=0) | draw_text("II", **TEXT)[9])

    assert np.diff(apart).max() == round(ADVANCE * 18 / GLYPH_HEIGHT) - 2


def test_what_cannot_be_written_is_simplified_or_left_out():
    assert can_write("Küche, weiß 2 ₽") == "KUCHE, WEISS 2 "
