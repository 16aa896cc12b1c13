"""What every form shares: figures as they are typed, and what is said of one that is unfit."""

import math

from werkzeug.datastructures import MultiDict

Form = MultiDict[str, str]


class FormUnfit(ValueError):
    """What was typed cannot be meant; the message says what to type instead."""


def number(form: Form, name: str, label: str, *, least: float, most: float) -> float:
    """Return what was typed as `name`; a comma serves as a point."""
    typed = form.get(name, "").strip().replace(",", ".")
    try:
        value = float(typed)
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        raise FormUnfit(f"{label} must be a number from {least:g} to {most:g}.")
    return value
