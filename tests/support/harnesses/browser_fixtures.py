"""One browser and one served page for all tests of a worker; each test has its own phones."""

from importlib import import_module

import pytest

PATIENCE_MS = 60_000


@pytest.fixture(scope="session")
def page_bench():
    """The module that serves the page: importing it takes longer than many a test."""
    return import_module("support.harnesses.page_bench")


@pytest.fixture(scope="session")
def chromium(page_bench):
    with page_bench.browser() as chromium:
        yield chromium


@pytest.fixture
def expect(page_bench):
    expect = page_bench.require_module("playwright.sync_api").expect
    expect.set_options(timeout=PATIENCE_MS)
    return expect


@pytest.fixture(scope="session")
def axe(page_bench, request):
    return page_bench.axe_script(request.config.cache.mkdir("axe"))


@pytest.fixture(scope="session")
def page_of_all_tests(page_bench, tmp_path_factory):
    options = {"open_to_loopback": True, "machine": lambda *_, **__: None}
    with page_bench.served_page(tmp_path_factory.mktemp("page"), **options) as served:
        work_here = import_module("support.harnesses.work_here")
        served.app.extensions["etchweb works"] = work_here.queue_here()
        yield served


@pytest.fixture
def served(page_of_all_tests):
    page_of_all_tests.start_over()
    return page_of_all_tests


@pytest.fixture
def open_phone(page_bench, chromium, served):
    contexts = []

    def open_phone(path="/", url=None, **options):
        contexts.append(chromium.new_context(**page_bench.phone_options(**options)))
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
