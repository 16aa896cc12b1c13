"""A person with a phone whose screens, taps and typed figures are counted.

A screen is a page that a tap led to; a page that looks again by itself while the box works is not
another one, for how often it does depends on the computer. A tap presses, ticks or chooses. A
figure is a number that is typed; names are words.
"""

import re
from dataclasses import dataclass, field


@dataclass
class CountedHands:
    """Does what a person does on `page`, and counts it."""

    page: object
    screens: int = 1  # the one that is looked at first
    taps: int = 0
    figures: int = 0
    way: list = field(default_factory=list)  # every step, to be read where a count is too high

    def __post_init__(self):
        """Note every page that comes."""
        self._was_tapped = False
        self.page.on("framenavigated", self._note)

    def _note(self, frame):
        if frame != self.page.main_frame or not self._was_tapped:
            return
        self._was_tapped = False
        self.screens += 1
        self.way.append(f"screen {self.screens}: {re.sub(r'^https?://[^/]+', '', frame.url)}")

    def rest(self):
        """Count nothing from now on."""
        self.page.remove_listener("framenavigated", self._note)

    def press(self, role, name):
        """Tap a button or a link once it can be tapped."""
        place = self.page.get_by_role(role, name=name, disabled=False).first
        place.wait_for()
        self._tap(f"{role} {name}")
        self._was_tapped = True
        place.tap()

    def tick(self, place):
        """Tick a box or take a choice."""
        self._tap("tick")
        place.check()

    def choose(self, place, **what):
        """Take a choice from a list."""
        self._tap("choice")
        place.select_option(**what)

    def pick_file(self, place, file):
        """Choose a file."""
        self._tap("file")
        place.set_input_files(file)

    def type_figure(self, place, figure):
        """Type a number."""
        self.figures += 1
        self.way.append(f"figure {self.figures}: {figure}")
        place.fill(f"{figure}")

    def type_words(self, place, words):
        """Type a name."""
        place.fill(words)

    def _tap(self, what):
        self.taps += 1
        self.way.append(f"tap {self.taps}: {what}")

    @property
    def counts(self):
        """Screens, taps and figures."""
        return self.screens, self.taps, self.figures

    def __str__(self):
        """Return the counts in words."""
        return "{} screens, {} taps, {} typed figures".format(*self.counts)
