"""Whether the wall clock can be believed."""

import pytest

from etchdaemon.hardware.synchronisation import TIME_ERROR, is_clock_synchronised


@pytest.mark.parametrize(("state", "told"), [(0, True), (1, True), (TIME_ERROR, False), (-1, None)])
def test_the_kernel_knows_unless_it_may_not_be_asked(tmp_path, state, told):
    assert is_clock_synchronised(mark=tmp_path / "none", kernel_state=lambda: state) is told


def test_the_mark_of_the_time_service_is_enough(tmp_path):
    mark = tmp_path / "synchronized"
    mark.touch()

    assert is_clock_synchronised(mark=mark, kernel_state=lambda: TIME_ERROR) is True


def test_this_machine_can_be_asked():
    assert is_clock_synchronised() in (True, False, None)
