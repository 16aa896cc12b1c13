"""The files by which the page and its child speak of two tiles' whites."""

from typing import Final

PHOTO_NAME: Final = "photo"
FOUND_NAME: Final = "found.txt"  # a sentence
