"""How two tiles of a photo differ in whiteness: in the child process."""

from collections.abc import Callable
from pathlib import Path

from etchproof.reading.photograph import load_photograph
from etchproof.reading.whiteness import compare_whites, difference_words
from etchweb.catalogue.white_files import FOUND_NAME, PHOTO_NAME
from etchwire.storing import write_whole


def compare_tiles(folder: Path, _on_progress: Callable[[float], None]) -> None:
    """Compare the tiles of the photo in `folder`, and leave a sentence about them."""
    photograph = load_photograph(folder / PHOTO_NAME, name="the photo")
    write_whole(folder / FOUND_NAME, difference_words(compare_whites(photograph.light)))
