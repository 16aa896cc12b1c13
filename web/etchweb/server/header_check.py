"""May this body be sent? Asked of the application at the headers, in a thread of the server's.

The application gets the request without its body. What needs no body is looked at as always: the
name, the origin, who asks, their role, the length. A refusal is the answer to the request. Where
nothing refuses, `uploads` grants the question, and the request itself comes with its body.
"""

from collections.abc import Callable
from typing import Final
from wsgiref.types import WSGIApplication, WSGIEnvironment

from werkzeug.wrappers import Response

HEADER_CHECK: Final = "etchweb.question"  # in the environ of a request that only asks


class HeaderCheck:
    """A task for the server's threads, which ask and give `hear` the refusal, or None.

    `is_known`: whether a paired phone has asked from that address.
    """

    def __init__(
        self,
        application: WSGIApplication,
        environ: WSGIEnvironment,
        hear: Callable[["HeaderCheck", Response | None], None],
        *,
        is_known: bool,
    ) -> None:
        self._application = application
        self._environ = environ | {HEADER_CHECK: self}
        self._hear = hear
        self.is_known = is_known
        self.release: Callable[[], None] | None = None

    def grant(self, release: Callable[[], None]) -> None:
        """Say yes; `release` is to be called when the request is over."""
        self.release = release

    def service(self) -> None:
        """Ask, in one of the server's threads."""
        answer = Response.from_app(self._application, self._environ, buffered=True)
        self._hear(self, answer if self.release is None else None)

    def cancel(self) -> None:
        """Be done: the server ends."""
