"""A client without types, as another program might be: names go out, tables come back."""

from etchwire.transport.line_client import LineClient


class PlainClient(LineClient):
    """A LineClient that also hands over a job and watches."""

    def load(self, gcode, sheet):
        """Hand over a job as two open file descriptors."""
        return self.exchange("load", {}, files=(gcode, sheet))

    def subscribe(self):
        """Yield the snapshot now and whenever it changes."""
        yield self.call("subscribe")
        yield from self.pushed("status")
