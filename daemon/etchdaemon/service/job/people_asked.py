"""What people confirm with a start now, by how long the job lasts."""

from datetime import datetime

from etchdaemon.guard.guard import Guard
from etchdaemon.interlocks.start.starting import StartRequest
from etchdaemon.ports import Clock
from etchwire.calls.snapshot import AskedAtStart


def asked_at_start(guard: Guard, clock: Clock, *, predicted_s: float) -> AskedAtStart:
    """Return what people confirm with a job that lasts `predicted_s` of the machine's time."""
    request = StartRequest(
        lasts_s=predicted_s / clock.seconds_per_wall_second,
        starts_at=datetime.fromisoformat(clock.utc_now()).astimezone(),
    )
    return AskedAtStart(**guard.operator.confirmations_for(request))
