"""Every address against its description, and against whatever can be sent to it."""

import io
import re

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.strategies import booleans
from PIL import Image
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from etchweb.app import create_app
from etchweb.auth.codes import form_token
from etchweb.auth.roles import NEEDS, Role
from etchweb.auth.store import Store
from etchweb.practice.scenario_runner import ScenarioRunner
from etchweb.practice.scenario_views import add_scenarios
from page_description.description import ENTRIES, description
from support.fakes.fake_daemon import FakeDaemon
from support.harnesses.kept_templates import TEMPLATES
from support.harnesses.work_here import queue_here

pytestmark = pytest.mark.slow

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    unsupported_method,
]
EXAMPLES = 12
KNOWN = {"number": 7, "name": "open-lid"}  # an etch of the fake daemon, and a deed of practice


def address(rule, static):
    """Return a rule of werkzeug's as the description writes it."""
    path = rule.replace(static, "/static/{version}")
    return re.sub(r"<(?:[^<>:]*:)?(\w+)>", r"{\1}", path)


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    app = create_app(FakeDaemon("etching"), folder, open_to_loopback=True, machine=practised)
    app.jinja_env.bytecode_cache = TEMPLATES
    app.extensions["etchweb works"] = queue_here()
    add_scenarios(app, ScenarioRunner([], lambda _name: []))
    app.extensions["etchweb"].listener.end()  # or the stream would have no end
    app.token = form_token(Store(folder).secret, "loopback")
    app.known = KNOWN | {"draft_id": draft_of(app)}
    return app


def practised(_verb, **says):
    """Do what the practice machine would, as far as the page sees it."""
    if "after" in says:
        Image.new("L", (8, 8), 255).save(says["after"], "PNG")


def draft_of(app):
    """Take a photo in, and return the number of the draft that came of it."""
    photo = io.BytesIO()
    Image.linear_gradient("L").save(photo, "PNG")
    photo.seek(0)
    answer = app.test_client().post(
        "/new",
        data={"form_token": app.token, "photo": (photo, "gradient.png")},
        headers={"Origin": "http://localhost"},
    )
    return answer.location.split("/")[2]


def from_this_machine(app):
    """Return `app` as it is asked from a loopback address, which practice lets in.

    Answers are read to their end and closed here, because schemathesis does not close files.
    """

    def ask(environ, start):
        answer = app(environ | {"REMOTE_ADDR": "127.0.0.1"}, start)
        try:
            return [b"".join(answer)]
        finally:
            answer.close()

    return ask


def description_for(app):
    """Return the description with the address that static files have at present."""
    found = description()
    paths = {
        path.replace("/static/{version}", app.static_url_path): what
        for path, what in found["paths"].items()
    }
    return found | {"paths": paths}


def test_every_address_and_method_is_described(app):
    served = {
        (method, address(rule.rule, app.static_url_path))
        for rule in app.url_map.iter_rules()
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }

    assert served == {(entry.method, entry.path) for entry in ENTRIES}


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: f"{entry.method} {entry.path}")
def test_an_address_is_for_whom_its_entry_says(entry, app):
    endpoints = {
        (method, address(rule.rule, app.static_url_path)): rule.endpoint
        for rule in app.url_map.iter_rules()
        for method in rule.methods
    }
    role = NEEDS.get(endpoints[entry.method, entry.path], Role.OPERATE)

    assert entry.role == (role or "")


@pytest.fixture(scope="module")
def operations(app):
    """Every operation of the description as schemathesis knows it, by method and path."""
    schema = schemathesis.openapi.from_dict(description_for(app))
    found = [found.ok() for found in schema.get_all_operations()]
    return {(one.method.upper(), one.path): one for one in found}


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: f"{entry.method} {entry.path}")
def test_whatever_is_sent_to_an_address_it_answers_honestly(entry, app, operations):
    path = entry.path.replace("/static/{version}", app.static_url_path)
    operation = operations[entry.method, path]
    cases = operation.as_strategy() | operation.as_strategy(generation_mode=GenerationMode.NEGATIVE)

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=cases, is_known=booleans())
    def try_all(case, is_known):
        if is_known:
            known = {name: app.known[name] for name in case.path_parameters if name in app.known}
            case.path_parameters.update(known)
        if isinstance(case.body, dict):
            case.body["form_token"] = app.token
        case.call_and_validate(
            app=from_this_machine(app), checks=CHECKS, headers={"Origin": "http://localhost"}
        )

    try_all()
