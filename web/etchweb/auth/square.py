"""The square that a phone's camera reads to open the page where it is paired (ISO/IEC 18004).

It holds the address and not the code: what a camera saw stays in its history, and a code that is
typed has been read out by somebody at the box.
"""

import io

import segno
from markupsafe import Markup


def square_text(address: str) -> str:
    """Return the square for a terminal, in half blocks, light where a block is drawn."""
    text = io.StringIO()
    segno.make(address, error="m").terminal(text, compact=True)
    return text.getvalue()


def square_svg(address: str) -> Markup:
    """Return the square for a page, black on white in either colour scheme."""
    square = segno.make(address, error="m")
    drawn = square.svg_inline(scale=4, light="#fff", dark="#000", omitsize=True, title=address)
    return Markup(drawn)  # noqa: S704 - drawn here; the address is the page's own
