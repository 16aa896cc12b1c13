"""The page's alerts in memory, from the daemon's word to a web host that takes them."""

from contextlib import ExitStack

from etchweb.alerts.alerting import AlertDetector, deliver_once
from etchweb.alerts.channels import Webhook
from etchweb.alerts.outbox import AlertPreferences, Outbox
from etchweb.daemon.listener import DaemonReport
from etchwire.alert_policy import Alert
from support.fakes.alert_sinks import WebSink, serving


class MemoryAlerts:
    """No page is open: what is told reaches a webhook."""

    def __init__(self, folder):
        self._parts = ExitStack()
        self._sink = self._parts.enter_context(serving(WebSink()))
        self._ways = {"webhook": Webhook(url=self._sink.url)}
        everything = AlertPreferences(
            channels=self._ways, kinds=frozenset(Alert), held_long_s=600.0
        )
        self._outbox = Outbox(folder, everything)
        self._noticing = AlertDetector("practice", self._outbox)
        self._now_s = 0.0

    def note(self, status, now_s):
        self._now_s = now_s
        self._noticing.note(DaemonReport(0, status, ""), now_s)

    def sent_texts(self):
        while deliver_once(self._outbox, self._ways, self._now_s):
            pass
        return [f"{post['title']}. {post['text']}" for _, post in self._sink.posts]

    def close(self):
        self._parts.close()
