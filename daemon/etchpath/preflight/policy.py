"""What may be found in a file, what we think of it, and what a person can do about it.

This table is the policy. `refused` cannot run; `acknowledge` runs, but otherwise than the file
says or than people expect, so somebody has to have read it; `note` is worth knowing.
"""

from typing import Final

from etchpath.preflight.kind import FindingKind, Severity
from etchpath.preflight.language_policy import FILE_KINDS, WORD_KINDS

_REFUSED: Final = Severity.REFUSED
_ACKNOWLEDGE: Final = Severity.ACKNOWLEDGE
_NOTE: Final = Severity.NOTE

_ABSOLUTE_FIX: Final = "Write the job in its own coordinates, from the set origin."

# Words that do what a job on this machine must not, or need not.
_DOINGS: Final = (
    FindingKind("other plane", _REFUSED, "Arcs out of the table's plane.", "Only G17 is etched."),
    FindingKind(
        "inverse time", _REFUSED, "Feeds as times (G93) are not run.", "Write feeds per minute."
    ),
    FindingKind("probing", _REFUSED, "A job must not probe.", "Delete the line."),
    FindingKind("tool length", _REFUSED, "There is no tool length on a laser.", "Delete the line."),
    FindingKind("tool change", _REFUSED, "There is no tool to change.", "Delete the line."),
    FindingKind("tool word", _NOTE, "Tool numbers do nothing here."),
    FindingKind(
        "z move",
        _REFUSED,
        "The job moves Z, which would put the beam out of focus.",
        "Write the job in X and Y only.",
    ),
    FindingKind("z word", _NOTE, "Z0 moves nothing from where the job starts."),
    FindingKind(
        "pause",
        _REFUSED,
        "The job would stop in its middle and wait for a person.",
        "Make two jobs of it.",
    ),
    FindingKind("another origin", _REFUSED, "G55 to G59 lead to an unknown origin.", _ABSOLUTE_FIX),
    FindingKind(
        "machine move", _REFUSED, "The job goes to a fixed place of the machine.", _ABSOLUTE_FIX
    ),
    FindingKind(
        "origin shift",
        _ACKNOWLEDGE,
        "The job shifts its own origin: it runs, but cannot be taken up again after a stop.",
        _ABSOLUTE_FIX,
    ),
    FindingKind(
        "too many origins", _REFUSED, "The job shifts its origin too often.", _ABSOLUTE_FIX
    ),
    FindingKind(
        "coolant",
        _NOTE,
        "M8 switches an output of the controller, which falls off at every hold and reset.",
        "Delete the line; extraction has an output of its own.",
        given="can_coolant_switch_extraction",
    ),
    FindingKind("mist", _REFUSED, "The usual controller does not know M7.", "Delete the line."),
    FindingKind(
        "inches",
        _ACKNOWLEDGE,
        "The file counts in inches. It is run so; a wrong G20 makes it 25 times too large.",
        "Look at the bounds; set the program that makes the files to millimetres.",
    ),
)

# Where the beam and the head go.
_MOTION: Final = (
    FindingKind(
        "outside the travel",
        _REFUSED,
        "The head would leave the machine's travel, seen from the set origin.",
        "Move the origin, or make the job smaller.",
    ),
    FindingKind(
        "feed above the limit",
        _ACKNOWLEDGE,
        "An axis cannot move as fast as the file asks; it moves as fast as it can.",
        "Set the feed within the limit, or the dose will not be what was meant.",
    ),
    FindingKind(
        "power above the most",
        _ACKNOWLEDGE,
        "S is above the controller's maximum; it gives full power.",
        "Set the largest S in the program that makes the files.",
    ),
    FindingKind(
        "power never set",
        _ACKNOWLEDGE,
        "The beam is switched on, but no S word says how strong: nothing is etched.",
        "Add an S word.",
    ),
    FindingKind("nothing is etched", _ACKNOWLEDGE, "In the whole file the beam never comes on."),
    FindingKind(
        "power in a rapid",
        _ACKNOWLEDGE,
        "A rapid move asks for the beam; the controller's laser mode keeps it dark.",
        "Use G1 where something is to be etched.",
    ),
    FindingKind(
        "power kept in a rapid",
        _NOTE,
        "The power stays set during rapid moves; the controller's laser mode keeps them dark.",
    ),
    FindingKind(
        "constant power",
        _REFUSED,
        "M3 holds the beam at full strength where the head slows down or stands still.",
        "Use M4, in which the beam follows the speed.",
        given="has_heartbeat_contact",
        then=_ACKNOWLEDGE,
    ),
    FindingKind(
        "beam on at standstill",
        _REFUSED,
        "With M3 the beam burns while the head stands: at a pause, a dwell, a change of power.",
        "Use M4, or set S0 before the head stops.",
        given="has_heartbeat_contact",
        then=_ACKNOWLEDGE,
    ),
    FindingKind(
        "beam not switched off",
        _REFUSED,
        "The file ends with the beam still commanded on.",
        "End the file with M5 and M2.",
    ),
    FindingKind(
        "line too slow",
        _ACKNOWLEDGE,
        "The serial line cannot carry the file as fast as the head would run it: it runs slower.",
        "Use fewer decimals, relative coordinates, or a lower feed.",
    ),
    FindingKind(
        "controller too slow",
        _NOTE,
        "The picture has more detail than this controller can take in: its own processor needs a"
        " while for every line, whatever the cable does.",
        "Set a speed that it keeps up with, or choose a wider line spacing or a softer picture.",
    ),
    FindingKind(
        "feed not reached",
        _NOTE,
        "In detail this fine the head does not reach the feed that the file asks for.",
        "Set the feed that it does reach, and the power that suits it.",
    ),
)

KINDS: Final = {kind.name: kind for kind in (*FILE_KINDS, *WORD_KINDS, *_DOINGS, *_MOTION)}
