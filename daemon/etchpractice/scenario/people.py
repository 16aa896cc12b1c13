"""What a person's event becomes when it is asked of the daemon."""

from collections.abc import Mapping
from typing import Final

from etchpractice.scenario.events import Event
from etchpractice.scenario.observation import Observation
from etchpractice.scenario.script import Picture

# What a person answers at a real machine; nothing can burn at this one.
ANSWERS: Final[Mapping[str, bool | int | str]] = {
    "extinguisher": True,
    "lens": True,
    "filter": True,
    "focus": "spacer",
    "under the tile": True,
    "cloths and tins": True,
    "clean": True,
    "even": True,
    "coated hours ago": 24,
    "dry": True,
}


def arguments_of(event: Event, observation: Observation, picture: Picture) -> dict[str, object]:
    """Return the parameters of the call: what is given, and what a person reads off the page."""
    given = dict(event.given)
    job = None if observation.status is None else observation.status.job
    run = None if observation.status is None else observation.status.run
    to_acknowledge = () if job is None else job.preflight.to_acknowledge
    match event.kind.verb:
        case "arm":
            is_tested = picture.has_constant_power
            return {
                "answers": dict(ANSWERS),
                "test_heartbeat": is_tested,
                "acknowledge": to_acknowledge,
            }
        case "start":
            return {"acknowledge_long_run": True, "acknowledge": to_acknowledge}
        case "reset":
            return {"names": observation.trips, **given}
        case "reenter":
            return {"run": None if run is None else run.id, "row": None, **given}
    return given
