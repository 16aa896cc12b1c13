"""The part of the policy about a file's text: its bytes, its lines, the words in them."""

from typing import Final

from etchpath.preflight.kind import FindingKind, Severity

_REFUSED: Final = Severity.REFUSED
_ACKNOWLEDGE: Final = Severity.ACKNOWLEDGE
_NOTE: Final = Severity.NOTE

_WRITE_AGAIN: Final = "Write the file again with the program that made it, or correct the line."

# The file as such.
FILE_KINDS: Final = (
    FindingKind(
        "empty",
        _REFUSED,
        "There is nothing in the file that a machine could do.",
        "Look whether it is the right file, and write it again.",
    ),
    FindingKind(
        "not text",
        _REFUSED,
        "This is not G-code but a file of another kind, or text in two-byte letters.",
        "Save it as plain ASCII text.",
    ),
    FindingKind(
        "byte-order mark",
        _REFUSED,
        "The job begins with a byte-order mark, whose bytes are commands to the controller.",
        "Load the file itself: the mark is taken out of the copy that is sent.",
    ),
    FindingKind(
        "real-time character",
        _REFUSED,
        "? ! ~ and letters beyond plain ASCII act at once on the controller.",
        "Take these characters out, or put a comment's brackets round them: comments are not sent.",
    ),
    FindingKind(
        "cut short",
        _ACKNOWLEDGE,
        "The file ends in the middle of a line: the end may be missing.",
        "Compare it with the original, or write it again.",
    ),
    FindingKind("CRLF", _NOTE, "Lines end with two characters; only one is sent."),
    FindingKind("comment", _NOTE, "Comments do nothing, but take time on the serial line."),
    FindingKind(
        "odd comment",
        _NOTE,
        "A comment is opened twice or never closed; the controller drops all up to the first "
        "closing bracket or the line's end.",
        "Look whether anything stands behind it that should run.",
    ),
    FindingKind(
        "block delete",
        _REFUSED,
        "A slash does not skip the line: the controller drops the slash and runs the rest.",
        "Delete the line, or the slash.",
    ),
    FindingKind(
        "line too long",
        _REFUSED,
        "The line is longer than the controller takes; it would run none of it.",
        "Split the line; leave out blanks and decimals beyond the third.",
    ),
    FindingKind(
        "line fills the buffer",
        _REFUSED,
        "With its comments and blanks the line is longer than the controller's receive buffer.",
        "Take the comments out.",
    ),
    FindingKind(
        "program mark",
        _REFUSED,
        "Something stands after the % that ends the program, or beside a %: whether it should run"
        " nobody can tell.",
        "Delete it, or delete the %.",
    ),
    FindingKind(
        "no program end",
        _ACKNOWLEDGE,
        "The file does not end with M2 or M30: the end may be missing.",
        "Add M2 as its last line if it is complete.",
    ),
    FindingKind(
        "after the end",
        _ACKNOWLEDGE,
        "Lines stand after the end of the program; the controller runs them all the same.",
        "Delete them, or the M2 or M30 before them.",
    ),
)

# Words the controller would refuse.
WORD_KINDS: Final = (
    FindingKind(
        "unreadable word",
        _REFUSED,
        "The controller cannot read this line: a letter without a number, a number without a "
        "letter, or a number that is none.",
        _WRITE_AGAIN,
    ),
    FindingKind(
        "unknown word", _REFUSED, "The controller does not know this letter.", _WRITE_AGAIN
    ),
    FindingKind(
        "extruder word",
        _REFUSED,
        "E moves the extruder of a 3D printer, or stands for an exponent; this controller knows"
        " neither.",
        "Write the file for a machine with X, Y and a beam, numbers without exponents.",
    ),
    FindingKind(
        "checksum",
        _REFUSED,
        "The * and the sum behind it are for 3D printers; this controller does not know them.",
        "Write the file without checksums.",
    ),
    FindingKind(
        "unsupported code", _REFUSED, "The controller does not know this code.", _WRITE_AGAIN
    ),
    FindingKind("repeated word", _REFUSED, "One letter stands twice in the line.", _WRITE_AGAIN),
    FindingKind(
        "two of a group",
        _REFUSED,
        "Two codes in the line contradict each other.",
        "Put them on two lines, or drop one.",
    ),
    FindingKind("missing value", _REFUSED, "A dwell has no P with its seconds.", "Add the P word."),
    FindingKind(
        "unused word", _REFUSED, "A word in the line belongs to no code in it.", _WRITE_AGAIN
    ),
    FindingKind("negative value", _REFUSED, "F, N, P, S and T cannot be negative.", _WRITE_AGAIN),
    FindingKind(
        "number too large",
        _REFUSED,
        "The number is larger than any that the controller can count with.",
        _WRITE_AGAIN,
    ),
    FindingKind(
        "line number", _REFUSED, "The line number is too large.", "Leave line numbers out."
    ),
    FindingKind("no axis word", _REFUSED, "The code needs X or Y and has neither.", _WRITE_AGAIN),
    FindingKind(
        "two uses of the axes", _REFUSED, "Two codes want the same X and Y.", "Use two lines."
    ),
    FindingKind(
        "no motion mode", _REFUSED, "X or Y stands where no motion is chosen.", "Add G0 or G1."
    ),
    FindingKind("arc without centre", _REFUSED, "An arc needs I and J, or R.", _WRITE_AGAIN),
    FindingKind(
        "arc not closed",
        _REFUSED,
        "The arc's end does not lie on the circle of its start.",
        "Write the file again with more decimals.",
    ),
    FindingKind(
        "radius too small", _REFUSED, "No circle of this R joins the arc's ends.", _WRITE_AGAIN
    ),
    FindingKind(
        "no feed", _REFUSED, "The head is to move at a feed that was never set.", "Add an F word."
    ),
    FindingKind(
        "setting",
        _REFUSED,
        "The line changes or reads the controller's own settings; a job must not.",
        "Delete the line.",
    ),
    FindingKind(
        "memory writing",
        _REFUSED,
        "The line writes the controller's memory, during which it hears nothing.",
        "Delete the line.",
    ),
)
