"""Alerts at work: one thread listens to the daemon, another delivers, and neither waits on it."""

import logging
import threading
import time
from collections.abc import Mapping
from typing import Final

from etchweb.alerts.channels import Channel, NotDelivered
from etchweb.alerts.news import news_of
from etchweb.alerts.outbox import Outbox
from etchweb.daemon.listener import DaemonReport, Listener
from etchweb.server.page_database import StoreUnusable
from etchwire.alert_policy import Alert

LOOK_EVERY_S: Final = 1.0
REMIND_LOOK_EVERY_S: Final = 5.0
AWAY_S: Final = 5.0  # a control program that is away for longer has ended, or hangs

_log = logging.getLogger(__name__)


class AlertDetector:
    """Turns what is heard into letters; the outbox is bothered only when something changed."""

    def __init__(self, machine: str, outbox: Outbox) -> None:
        self._machine = machine
        self._outbox = outbox
        self._noted: list[str] | None = None  # the keys of what was so
        self._noted_at_s = float("-inf")
        self._away_since_s: float | None = None
        self._is_away_noted = False

    def note(self, report: DaemonReport, now_s: float) -> None:
        """Note what was heard; a daemon that stays away is news only where something was etched."""
        if report.snapshot is None:
            self._note_away(now_s)
            return
        self._away_since_s, self._is_away_noted = None, False
        news = news_of(report.snapshot)
        keys = [one.key for one in news]
        is_held = any(one.kind is Alert.HELD for one in news)
        is_due = is_held and not 0 <= now_s - self._noted_at_s < REMIND_LOOK_EVERY_S
        if keys == self._noted and not is_due:
            return
        self._outbox.note(self._machine, news, now_s)
        self._noted, self._noted_at_s = keys, now_s

    def _note_away(self, now_s: float) -> None:
        if self._away_since_s is None:
            self._away_since_s = now_s
        if self._is_away_noted or 0 <= now_s - self._away_since_s < AWAY_S:
            return
        self._outbox.note_away(self._machine, now_s)
        self._is_away_noted, self._noted = True, None


def deliver_once(outbox: Outbox, channels: Mapping[str, Channel], now_s: float) -> bool:
    """Try the letter that is due, and return whether there was one."""
    letter = outbox.next_due(now_s)
    if letter is None:
        return False
    channel = channels.get(letter.channel)
    if channel is None:  # the settings have changed since
        outbox.note_sent(letter)
        return True
    try:
        channel.send(letter)
    except NotDelivered as error:
        wait_s = outbox.note_failed(letter, now_s)
        then = "given up" if wait_s is None else f"tried again in {wait_s:.0f} s"
        _log.warning("%s It is %s.", error, then)
    else:
        outbox.note_sent(letter)
    return True


class AlertService:
    """Both threads; they end with the listener."""

    def __init__(self, outbox: Outbox, channels: Mapping[str, Channel]) -> None:
        self._outbox = outbox
        self._channels = channels

    def follow(self, machine: str, listener: Listener) -> None:
        """Tell people what happens at `machine` from now on."""
        args = (machine, listener)
        threading.Thread(target=self._notice, args=args, name="alerts", daemon=True).start()

    def start(self, listener: Listener) -> None:
        """Deliver from now on, until `listener` ends."""
        args = (listener,)
        threading.Thread(target=self._deliver, args=args, name="letters", daemon=True).start()

    def _notice(self, machine: str, listener: Listener) -> None:
        noticing, number = AlertDetector(machine, self._outbox), -1
        while not listener.is_ending:
            report = listener.wait_for_news(number, LOOK_EVERY_S)
            try:
                noticing.note(report, time.time())
                number = report.number
            except StoreUnusable as error:
                _log.warning("News could not be kept: %s", error)
                listener.pause(LOOK_EVERY_S)

    def _deliver(self, listener: Listener) -> None:
        while not listener.is_ending:
            try:
                is_busy = deliver_once(self._outbox, self._channels, time.time())
            except StoreUnusable as error:
                _log.warning("Letters cannot be read: %s", error)
                is_busy = False
            if not is_busy:
                listener.pause(LOOK_EVERY_S)
