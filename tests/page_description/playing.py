"""Addresses of the faults that are played on a practice machine of their own."""

from typing import Final

from page_description.entries import JSON, TEXT, Entry

PLAYING: Final = (
    Entry(
        method="GET",
        path="/plays",
        says="Faults that can be played.",
        role="operate",
        asks={"find": TEXT},
    ),
    Entry(
        method="GET",
        path="/plays/now.json",
        says="What has been told of the fault being played.",
        role="operate",
        gives=JSON,
    ),
    Entry(
        method="POST",
        path="/plays/begin",
        says="Begin to play the fault called `name`, on a practice machine of its own.",
        role="operate",
        asks={"name": TEXT},
        needs=("name",),
        answers=(404, 409, 503),
    ),
    Entry(method="POST", path="/plays/end", says="End what is being played.", role="operate"),
)
