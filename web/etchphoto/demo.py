"""The demo picture: a lighthouse at dusk, drawn by a program of ours and belonging to nobody else.

It has what shows a tile's quality: a smooth sky, fine texture on the sea, a glow that fades
into it, hard edges and true black.
"""

from pathlib import Path
from typing import Final

LIGHTHOUSE: Final = Path(__file__).with_name("lighthouse.jpg")  # 1200 px square
