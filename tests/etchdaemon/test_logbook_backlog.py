"""Whose turn it is at the logbook: values in, values out, time moved by hand."""

import itertools
from concurrent.futures import Future
from functools import cache, partial

from hypothesis import given
from hypothesis import strategies as st

from etchdaemon.logbook.write.backlog import (
    ENTRIES_KEPT,
    RETRY_EVERY_S,
    ROWS_EVERY_S,
    ROWS_KEPT,
    Backlog,
    Read,
    Write,
)
from etchdaemon.logbook.write.entries import write_note, write_row
from support.harnesses.logbooks import row_of

NOW_S = 100.0


@cache  # the same entry each time: partials are compared by identity
def event(text="event"):
    return Write(partial(write_note, at_utc="2026-11-25T17:02:00+00:00", text=text))


def start():
    return Write(event("start").entry, Future())


@cache
def row(number):
    return Write(partial(write_row, run=1, row=row_of(number)), is_row=True)


def read():
    return Read(lambda book: book, Future())


def busy_backlog():
    """Return a backlog that has just written a row."""
    backlog = Backlog()
    backlog.add_rows([row(0)])
    backlog.next(NOW_S)
    return backlog


def test_nothing_waits_in_an_empty_backlog():
    assert Backlog().next(NOW_S) is None
    assert Backlog().wait_s(NOW_S) is None


def test_events_are_written_at_once_in_their_order():
    backlog, events = busy_backlog(), [event("a"), event("b"), event("c")]
    for one in events:
        backlog.add(one)

    assert backlog.wait_s(NOW_S) == 0.0
    assert backlog.next(NOW_S) == events
    assert backlog.next(NOW_S) is None


def test_rows_are_written_at_most_once_a_second():
    backlog = busy_backlog()
    backlog.add_rows([row(1)])
    backlog.add_rows([row(2)])

    assert backlog.next(NOW_S + ROWS_EVERY_S - 0.001) is None
    assert backlog.wait_s(NOW_S + 0.25) == ROWS_EVERY_S - 0.25
    assert backlog.next(NOW_S + ROWS_EVERY_S) == [row(1), row(2)]


def test_rows_go_along_with_an_event_and_then_wait_their_second_again():
    backlog, stopped = busy_backlog(), event("stopped")
    backlog.add_rows([row(1)])
    backlog.add(stopped)

    assert backlog.next(NOW_S + 0.5) == [stopped, row(1)]
    backlog.add_rows([row(2)])
    assert backlog.next(NOW_S + 0.5 + ROWS_EVERY_S - 0.001) is None
    assert backlog.next(NOW_S + 0.5 + ROWS_EVERY_S) == [row(2)]


def test_what_is_to_be_written_goes_before_what_is_to_be_read():
    backlog, question, stopped = busy_backlog(), read(), event("stopped")
    backlog.add_read(question)
    backlog.add(stopped)

    assert backlog.next(NOW_S) == [stopped]
    assert backlog.next(NOW_S) is question


def test_a_read_does_not_wait_for_rows_that_are_not_due():
    backlog, question = busy_backlog(), read()
    backlog.add_rows([row(1)])
    backlog.add_read(question)

    assert backlog.wait_s(NOW_S) == 0.0
    assert backlog.next(NOW_S) is question


def test_reads_without_end_do_not_keep_due_rows_waiting():
    backlog = busy_backlog()
    backlog.add_rows([row(1)])
    for _ in range(3):
        backlog.add_read(read())

    assert backlog.next(NOW_S + ROWS_EVERY_S) == [row(1)]


def test_what_could_not_be_written_is_tried_again_before_all_that_came_since():
    backlog, first, later = busy_backlog(), event("first"), event("later")
    backlog.put_back([first, row(1)], NOW_S)
    backlog.add(later)
    backlog.add_rows([row(2)])

    assert backlog.next(NOW_S + RETRY_EVERY_S - 0.001) is None
    assert backlog.wait_s(NOW_S) == RETRY_EVERY_S
    assert backlog.next(NOW_S + RETRY_EVERY_S) == [first, later, row(1), row(2)]


def test_while_the_disk_is_full_it_is_still_read():
    backlog, question = busy_backlog(), read()
    backlog.put_back([event()], NOW_S)
    backlog.add_read(question)

    assert backlog.next(NOW_S) is question


def test_somebody_who_waits_has_the_disk_tried_at_once():
    backlog, kept, asked = busy_backlog(), event(), start()
    backlog.put_back([kept], NOW_S)
    backlog.add(asked)

    assert backlog.wait_s(NOW_S) == 0.0
    assert backlog.next(NOW_S) == [kept, asked]


def test_after_a_success_events_are_written_at_once_again():
    backlog, stopped = busy_backlog(), event("stopped")
    backlog.put_back([], NOW_S)
    backlog.note_success()
    backlog.add(stopped)

    assert backlog.next(NOW_S) == [stopped]


def test_memory_is_bounded_and_the_oldest_go_first():
    backlog = busy_backlog()
    backlog.put_back([row(number) for number in range(ROWS_KEPT)], NOW_S)
    backlog.put_back([event("kept")], NOW_S)
    backlog.add_rows([row(ROWS_KEPT), row(ROWS_KEPT + 1)])

    kept = backlog.next(NOW_S + RETRY_EVERY_S)
    assert [kept[0], kept[1]] == [event("kept"), row(2)]
    assert len(kept) == ROWS_KEPT + 1
    assert backlog.lost == 2


def test_events_are_bounded_by_themselves_and_push_out_no_row():
    backlog = busy_backlog()
    backlog.put_back([row(1)], NOW_S)
    for number in range(ENTRIES_KEPT + 3):
        backlog.add(event(str(number)))

    kept = backlog.next(NOW_S + RETRY_EVERY_S)
    assert [kept[0], kept[-1]] == [event("3"), row(1)]
    assert backlog.lost == 3


class Life:
    """A backlog, and all that was given to it and taken from it."""

    def __init__(self):
        self.backlog = Backlog()
        self.now_s = NOW_S
        self.added = []
        self.written = []
        self.rows_alone_at_s = []

    def event(self):
        self.added.append(event(str(len(self.added))))
        self.backlog.add(self.added[-1])

    def row(self):
        self.added.append(row(len(self.added)))
        self.backlog.add_rows([self.added[-1]])

    def read(self):
        self.backlog.add_read(read())

    def write(self):
        taken = self.backlog.next(self.now_s)
        if isinstance(taken, list):
            self.backlog.note_success()
            self.written += taken
            if all(one.is_row for one in taken):
                self.rows_alone_at_s.append(self.now_s)

    def fail(self):
        taken = self.backlog.next(self.now_s)
        if isinstance(taken, list):
            self.backlog.put_back(taken, self.now_s)


ACTIONS = st.tuples(st.sampled_from([Life.event, Life.row, Life.read, Life.write, Life.fail]),
                    st.floats(0, 0.7))  # fmt: skip


@given(st.lists(ACTIONS, max_size=60))
def test_whatever_happens_everything_is_written_once_and_in_order(actions):
    run_state = Life()
    for action, wait_s in actions:
        run_state.now_s += wait_s
        action(run_state)

    run_state.written += [one for one in run_state.backlog.waiting() if isinstance(one, Write)]

    for is_row in (False, True):
        of_kind = [one for one in run_state.added if one.is_row is is_row]
        assert [one for one in run_state.written if one.is_row is is_row] == of_kind
    gaps_s = [later - sooner for sooner, later in itertools.pairwise(run_state.rows_alone_at_s)]
    assert all(gap_s >= ROWS_EVERY_S - 1e-9 for gap_s in gaps_s)
