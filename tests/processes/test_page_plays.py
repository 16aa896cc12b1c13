"""Faults that are played, from a phone: real practice machines, daemons and programs behind it."""

import pytest

from etchwarden.practice_session.scenario_stage import scenario_runner
from etchweb.practice.scenario_runner import Outcome
from etchweb.practice.scenario_views import add_scenarios
from support.harnesses.page_bench import served_page, too_small, violations

PATIENCE_MS = 120_000


@pytest.fixture(scope="module")
def page_with_scenarios(tmp_path_factory):
    options = {"open_to_loopback": True, "machine": lambda *_, **__: None}
    with served_page(tmp_path_factory.mktemp("page"), **options) as served:
        runner = scenario_runner()
        add_scenarios(served.app, runner)
        yield served
        runner.end()


@pytest.fixture
def served(page_with_scenarios):
    page_with_scenarios.daemon.start_over()
    return page_with_scenarios


def begin(page, name):
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    page.locator(f"li:has(#{name})").get_by_role("button").tap()


@pytest.mark.parametrize("name", ["flame", "stop_while_holding"])
def test_a_fault_is_played_before_ones_eyes_and_comes_as_written(open_phone, expect, name):
    page = open_phone("/plays?find=")
    begin(page, name)

    expect(page.locator("#outcome")).to_have_text(Outcome.AS_WRITTEN.value, timeout=PATIENCE_MS)
    assert "As expected after" in page.locator("#told").inner_text()
    expect(page.locator("#end")).to_have_count(0)
    assert page.complaints == []


def test_everybody_can_have_faults_played(open_phone, axe):
    page = open_phone("/plays?find=", width_px=320)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")

    assert violations(page, axe) == []
    assert page.evaluate("document.documentElement.scrollWidth") == 320
    assert too_small(page) == []


def test_a_fault_is_played_and_ended_without_script(open_phone, expect):
    page = open_phone("/plays?find=", java_script_enabled=False)
    page.get_by_text("The cable and the controller").tap()
    page.locator("li:has(#alarm)").get_by_role("button").tap()
    page.get_by_role("button", name="End it").tap()

    expect(page.locator("#outcome")).to_have_text(Outcome.ENDED.value, timeout=PATIENCE_MS)
