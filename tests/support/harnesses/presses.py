"""The button at the practice machine, pressed as a person does: again, until it was noticed."""

import time

PRESS_AGAIN_AFTER_S = 1.0


def pressing_until(is_noticed, press):
    """Return `is_noticed` as something to poll that presses the button every second until then.

    On a busy computer a daemon may not be run for a while: it sleeps through a press of a fifth
    of a second, and after twice that the safety relay falls, which only another press sets.
    """
    pressed_at_s = -PRESS_AGAIN_AFTER_S

    def is_noticed_yet(*status):
        nonlocal pressed_at_s
        found = is_noticed(*status)
        if not found and time.monotonic() - pressed_at_s >= PRESS_AGAIN_AFTER_S:
            pressed_at_s = time.monotonic()
            press()
        return found

    return is_noticed_yet
