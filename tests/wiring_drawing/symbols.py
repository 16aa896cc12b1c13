"""Symbols of a circuit diagram as SVG, after IEC 60617 (from memory)."""

import re
import textwrap
from collections.abc import Sequence
from xml.sax.saxutils import escape

WIDTH = 440
INK, SOFT, PAPER, SIGNAL, WARNING = "#18212c", "#4d5866", "#ffffff", "#1b4d9b", "#9c1f12"
LEFT = 16
STEP = 52  # from one contact of a ladder to the next
TEXT_CHARACTERS = 57  # of the small text, from edge to edge
_UNIT = re.compile(r"(\d) (k?Ω|[mnµ]?[sVAWF]|mm²|m|%)(?!\w)")


class Drawing:
    """Gathers elements from top to bottom; `y` is where the next one goes."""

    def __init__(self) -> None:
        self.y = 0.0
        self._parts: list[str] = []

    def add(self, part: str) -> None:
        self._parts.append(part)

    def svg(self, title: str, description: str) -> str:
        """Return the whole drawing."""
        height = round(self.y + 20)
        size = f'viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" height="{height}"'
        return "\n".join((
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" aria-labelledby="t d"'
            ' font-family="system-ui, sans-serif">',
            f'<title id="t">{escape(title)}</title>',
            f'<desc id="d">{escape(description)}</desc>',
            f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>',
            *self._parts,
            "</svg>\n",
        ))  # fmt: skip

    # Words

    def text(
        self, x: float, y: float, words: str, *, size: float = 13, color: str = SOFT,
        anchor: str = "start", is_bold: bool = False,
    ) -> None:  # fmt: skip
        weight = ' font-weight="bold"' if is_bold else ""
        self.add(
            f'<text x="{x:g}" y="{y:g}" font-size="{size:g}"{weight} text-anchor="{anchor}"'
            f' fill="{color}">{escape(words)}</text>'
        )

    def heading(self, words: str) -> None:
        """Begin a sheet."""
        self.y += 26
        self.wire((LEFT, self.y), (WIDTH - LEFT, self.y), width=1)
        self.y += 32
        self.text(LEFT, self.y, words, size=17, color=INK, is_bold=True)
        self.y += 8

    def note(self, words: str, *, color: str = SOFT) -> None:
        """Write small text from edge to edge."""
        words = _UNIT.sub("\\1\N{NO-BREAK SPACE}\\2", words)
        for line in textwrap.wrap(words, TEXT_CHARACTERS, break_on_hyphens=False):
            self.y += 18
            self.text(LEFT, self.y, line, color=color)
        self.y += 6

    def table(self, columns: Sequence[float], rows: Sequence[Sequence[str]]) -> None:
        """Write rows of cells; the first row is the heads."""
        for number, row in enumerate(rows):
            self.y += 19
            for x, cell in zip(columns, row, strict=True):
                self.text(x, self.y, cell, color=SOFT if number else INK, is_bold=not number)
        self.y += 8

    # Wires and parts

    def wire(self, *places: tuple[float, float], width: float = 2, color: str = INK) -> None:
        points = " ".join(f"{x:g},{y:g}" for x, y in places)
        self.add(
            f'<polyline points="{points}" fill="none" stroke="{color}" stroke-width="{width:g}"/>'
        )

    def joint(self, x: float, y: float) -> None:
        self.add(f'<circle cx="{x:g}" cy="{y:g}" r="3.5" fill="{INK}"/>')

    def pole(self, x: float, y: float, words: str) -> None:
        """Write a supply's name above the wire that begins at y."""
        self.text(x, y - 6, words, size=14, color=INK, anchor="middle", is_bold=True)

    def zero(self, x: float, y: float, words: str = "0 V") -> None:
        """End a wire at y on the zero volts."""
        self.wire((x - 12, y), (x + 12, y), width=3)
        self.text(x, y + 17, words, size=14, color=INK, anchor="middle", is_bold=True)

    def box(self, x: float, y: float, width: float, height: float, name: str, *words: str) -> None:
        self.add(
            f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="5"'
            f' fill="#f6f4ef" stroke="{INK}" stroke-width="2"/>'
        )
        self.text(x + width / 2, y + 20, name, size=14, color=INK, anchor="middle", is_bold=True)
        for number, line in enumerate(words):
            self.text(x + width / 2, y + 38 + 17 * number, line, anchor="middle")

    def labels(self, x: float, y: float, name: str, *words: str) -> None:
        """Name the part whose wire is at x and whose middle is at y."""
        self.text(x + 18, y - 1 if words else y + 5, name, size=14, color=INK, is_bold=True)
        for number, line in enumerate(words):
            self.text(x + 18, y + 15 + 16 * number, line, size=12.5)

    def contact(
        self, x: float, y: float, name: str, *words: str, terminals: str = "", is_open: bool = True,
        is_forced: bool = False,
    ) -> float:  # fmt: skip
        """Draw a contact from y downwards and return where it ends.

        `is_open`: as drawn, without power. `is_forced`: direct opening action.
        """
        self.wire((x, y), (x, y + 16))
        self.wire((x, y + 36), (x, y + STEP))
        if is_open:
            self.wire((x, y + 36), (x - 11, y + 18), width=2.5)
        else:
            self.wire((x, y + 16), (x + 11, y + 16))
            self.wire((x, y + 36), (x + 9, y + 11), width=2.5)
        if is_forced:
            self.add(
                f'<circle cx="{x - 15:g}" cy="{y + 26:g}" r="6.5" fill="none" stroke="{INK}"'
                ' stroke-width="1.5"/>'
            )
            self.wire((x - 20, y + 26), (x - 11, y + 26), width=1.5)
            self.wire((x - 14, y + 23), (x - 11, y + 26), (x - 14, y + 29), width=1.5)
        self._terminals(x, y, terminals)
        self.labels(x, y + 28, name, *words)
        return y + STEP

    def coil(self, x: float, y: float, name: str, *words: str, terminals: str = "A1–A2") -> float:
        """Draw a coil from y downwards, and return where it ends."""
        self.wire((x, y), (x, y + 14))
        self.add(
            f'<rect x="{x - 20:g}" y="{y + 14:g}" width="40" height="22" fill="#eef3fb"'
            f' stroke="{INK}" stroke-width="2"/>'
        )
        self.wire((x, y + 36), (x, y + STEP))
        self._terminals(x, y, terminals)
        self.labels(x + 8, y + 26, name, *words)
        return y + STEP

    def resistor(self, x: float, y: float, *words: str) -> float:
        """Draw a resistor from y downwards, and return where it ends."""
        self.wire((x, y), (x, y + 10))
        self.add(
            f'<rect x="{x - 6:g}" y="{y + 10:g}" width="12" height="30" fill="{PAPER}"'
            f' stroke="{INK}" stroke-width="2"/>'
        )
        self.wire((x, y + 40), (x, y + STEP))
        for number, line in enumerate(words):
            self.text(x + 14, y + 24 + 16 * number, line, size=12.5)
        return y + STEP

    def fuse(self, x: float, y: float, *words: str) -> float:
        """Draw a fuse from y downwards, and return where it ends."""
        end = self.resistor(x, y, *words)
        self.wire((x, y), (x, end))
        return end

    def diode(self, x: float, y: float, *words: str, is_light: bool = False) -> float:
        """Draw a diode that lets current down, and return where it ends."""
        self.wire((x, y), (x, y + STEP))
        self.add(f'<path d="M{x - 9:g} {y + 18:g}h18l-9 15z" fill="{INK}"/>')
        self.wire((x - 9, y + 33), (x + 9, y + 33))
        if is_light:
            for shift in (0, 8):
                self.wire((x + 12, y + 20 + shift), (x + 24, y + 20 + shift), width=1.5)
                self.wire(
                    (x + 20, y + 16 + shift), (x + 24, y + 20 + shift), (x + 20, y + 24 + shift),
                    width=1.5,
                )  # fmt: skip
        for number, line in enumerate(words):
            self.text(x + (30 if is_light else 14), y + 24 + 16 * number, line, size=12.5)
        return y + STEP

    def _terminals(self, x: float, y: float, terminals: str) -> None:
        if not terminals:
            return
        above, below = terminals.split("–")
        self.text(x - 5, y + 12, above, size=11, color=SIGNAL, anchor="end")
        self.text(x - 5, y + STEP - 3, below, size=11, color=SIGNAL, anchor="end")
