"""How many examples a property takes that needs more or fewer than others."""

from hypothesis import settings

# Hypothesis's own number, which the profile of the whole run keeps; the inner loop's is lower.
_WHOLE_RUN = 100
_LEAST = 10


def examples(count):
    """Return settings of `count` examples in the whole run, and in the inner loop of its share."""
    share = count * settings.default.max_examples // _WHOLE_RUN
    return settings(max_examples=max(share, min(count, _LEAST)))
