"""One browser and one served page for all tests of the page; each test has its own phone."""

import pytest

from support.harnesses.page_bench import (
    axe_script,
    browser,
    phone_options,
    require_module,
    served_page,
)

PATIENCE_MS = 60_000


@pytest.fixture(scope="session")
def chromium():
    with browser() as chromium:
        yield chromium


@pytest.fixture(scope="session")
def axe(request):
    return axe_script(request.config.cache.mkdir("axe"))


@pytest.fixture(scope="session")
def page_of_all_tests(tmp_path_factory):
    options = {"open_to_loopback": True, "machine": lambda *_, **__: None}
    with served_page(tmp_path_factory.mktemp("page"), **options) as served:
        yield served


@pytest.fixture
def served(page_of_all_tests):
    page_of_all_tests.start_over()
    return page_of_all_tests


@pytest.fixture
def expect():
    expect = require_module("playwright.sync_api").expect
    expect.set_options(timeout=PATIENCE_MS)
    return expect


@pytest.fixture
def open_phone(chromium, served):
    contexts = []

    def open_phone(path="/", url=None, **options):
        contexts.append(chromium.new_context(**phone_options(**options)))
        contexts[-1].set_default_timeout(PATIENCE_MS)
        page = contexts[-1].new_page()
        page.complaints = []
        page.on("console", lambda message: page.complaints.append(message.text))
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        page.goto((url or served.url) + path)
        return page

    yield open_phone
    for context in contexts:
        context.close()
