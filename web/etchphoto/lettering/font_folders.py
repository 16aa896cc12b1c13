"""Where fonts lie on this computer, and the one that is always there."""

import os
from pathlib import Path
from typing import Final

# Where Debian's packages put fonts, and where people put theirs.
FONT_FOLDERS: Final = (
    Path("/usr/share/fonts"),
    Path("/usr/local/share/fonts"),
    Path(os.path.expanduser("~/.local/share/fonts")),  # noqa: PTH111 - there may be no home
)
BUNDLED: Final = "Aileron"  # a part of it comes with Pillow (CC0): plain Latin without accents
FREE_FAMILY: Final = "sudo apt install fonts-dejavu-core"
