"""A client without types, as another program might be: names go out, tables come back."""

from etchwire.calls.call import files_of, parameters_of
from etchwire.calls.json_values import from_json_value, to_json_value
from etchwire.transport.line_client import LineClient


class PlainClient(LineClient):
    """A LineClient that also hands over a job and watches, and asks in types where a part does."""

    def ask(self, call):
        """Make a typed call, for the parts of the house that take a daemon's client."""
        answer = self.exchange(
            call.method(),
            to_json_value(parameters_of(call)),
            files=files_of(call),
            timeout_s=call.patience_s,
        )
        return from_json_value(answer, call.answer_type())

    def load(self, gcode, sheet):
        """Hand over a job as two open file descriptors."""
        return self.exchange("load", {}, files=(gcode, sheet))

    def subscribe(self):
        """Yield the snapshot now and whenever it changes."""
        yield self.call("subscribe")
        yield from self.pushed("status")
