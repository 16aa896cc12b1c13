"""A shop of boxes, as a broker would have told it: our own invention, for pages that show it."""

from contextlib import contextmanager

from etchweb.fleet.box_registry import BoxRegistry
from etchweb.fleet.topics import BEAM_HOURS, DESCRIPTION, PAGE, STATE, base_of, description
from etchweb.fleet.topics import values_of as words_of
from etchweb.fleet.view import EXTENSION
from support.fakes.fake_daemon import snapshot

SHOP = {
    "attic": {STATE: "lost", "of": "etching"},
    "cellar": {"of": "tripped", "records/trouble": "The last backup failed: the disk is full."},
    "left": {"of": "etching", "interlocks/wrong": "\0"},
    "right": {"of": "idle", "etch/sentence": "Nothing is on the bench."},
    "shed": {STATE: "disconnected", "of": "complete"},
    "yard": {STATE: "init", "of": "complete"},
}


def told(roll, name, words):
    """Let a box say everything, `of` being a state of the fake daemon."""
    said = {
        DESCRIPTION: description(name),
        STATE: "ready",
        PAGE.path: f"http://{name}.local:8080/",
        BEAM_HOURS.path: "212.4417",
        **words_of(snapshot(words["of"])),
        **words,
    }
    for path, word in said.items():
        roll.take(f"{base_of(name)}/{path}", word.encode())


class FakeWatcher:
    """Knows of `shop`; `trouble` is a sentence while the broker is away."""

    def __init__(self, shop=SHOP, trouble=None):
        self.trouble, self._roll = trouble, BoxRegistry()
        for name, words in shop.items():
            told(self._roll, name, words)

    def tell(self, name, **words):
        told(self._roll, name, words)

    def boxes(self):
        return self._roll.boxes()


@contextmanager
def fleet_on(app, watcher):
    """Give a page that others use as well the view of all boxes, for a while."""
    app.extensions[EXTENSION] = watcher
    app.jinja_env.globals["has_fleet"] = True
    yield watcher
    del app.extensions[EXTENSION], app.jinja_env.globals["has_fleet"]
