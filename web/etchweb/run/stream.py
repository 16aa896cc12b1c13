"""Server-sent events: each phone gets everything once and after that only what has changed."""

import json
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Final

from etchweb.daemon.listener import NO_REPORT, DaemonReport
from etchweb.run.presenter import ACTIONS, away_view, changes, watch_view
from etchweb.text.figures import ACTUALS
from etchweb.text.view import View

MAX_STREAMS: Final = 8
TRY_AGAIN_S: Final = 30  # for the phone that came ninth
RECONNECT_MS: Final = 2000
SPACING_S: Final = 0.5  # keeps a phone below a kilobyte a second
HEARTBEAT_S: Final = 1.0  # a page that hears nothing for three says that the link is lost


def view_of(report: DaemonReport, offered: Collection[str] = ACTIONS) -> View:
    """Return what the page says about what was heard, to a visitor who may ask for `offered`."""
    if report.snapshot is None:
        return away_view(report.sentence, offered)
    return watch_view(report.snapshot, offered)


@dataclass(slots=True)
class EventFrames:
    """What one phone has been sent, and what it should be sent next; holds no clock."""

    offered: Collection[str] = ACTIONS
    number: int = NO_REPORT
    _sent: View = field(default_factory=dict)
    _last_at_s: float = float("-inf")

    def next_frame(self, report: DaemonReport, now_s: float) -> str | None:
        """Return the text to send at `now_s`, or None while there is nothing to say."""
        waited_s = now_s - self._last_at_s
        if report.number > self.number and waited_s >= SPACING_S:
            view = self._calm(view_of(report, self.offered))
            news, self._sent, self.number = changes(self._sent, view), view, report.number
            if news:
                return self._say(now_s, f"id: {report.number}\ndata: {_compact(news)}\n\n")
        if waited_s >= HEARTBEAT_S:
            # An event, not a comment: a page can't see comments, and must tell quiet from dead.
            return self._say(now_s, "data: {}\n\n")
        return None

    def _calm(self, view: View) -> View:
        if not view["is_between_dots"]:
            return view
        return view | {name: self._sent[name] for name in ACTUALS if name in self._sent}

    def _say(self, now_s: float, text: str) -> str:
        is_first = self._last_at_s == float("-inf")
        self._last_at_s = now_s
        return f"retry: {RECONNECT_MS}\n{text}" if is_first else text


def _compact(view: View) -> str:
    return json.dumps(view, ensure_ascii=False, separators=(",", ":"))
