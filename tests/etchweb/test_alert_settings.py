from functools import partial

import pytest

from etchweb.alerts.channels import Mail, Webhook
from etchweb.alerts.settings import AlertSettings
from etchwire.alert_policy import ALWAYS, Alert
from etchwire.configuration.faults import FaultyConfiguration, Reason
from etchwire.configuration.tables import read_tables

MAIL = {"host": "mail.shop.example", "sender": "box@shop.example", "to": ["ann@shop.example"]}


@pytest.fixture
def settings_of(tmp_path):
    """A function from a table, in a file of this folder, to what it says."""
    return partial(read_tables, read=partial(AlertSettings.read, folder=tmp_path))


@pytest.fixture
def faults_of(settings_of):
    def faults_of(table):
        with pytest.raises(FaultyConfiguration) as refused:
            settings_of(table)
        return refused.value.faults

    return faults_of


@pytest.fixture
def secret(tmp_path):
    path = tmp_path / "secret"
    path.write_text("s3cret\n")
    path.chmod(0o640)
    return path


def test_without_a_word_everything_is_told_to_nobody(settings_of):
    settings = settings_of({})

    assert settings.channels == {}
    assert settings.wanted.kinds == frozenset(Alert)
    assert settings.wanted.held_long_s == 600.0


def test_both_ways_with_their_secrets_from_files(settings_of, secret):
    settings = settings_of({
        "tell": ["failed", "held long"],
        "held_long_min": 3,
        "webhook": {"url": "https://hooks.shop.example/told", "secret_file": str(secret)},
        "mail": MAIL | {"user": "box", "password_file": str(secret)},
    })  # fmt: skip

    assert settings.wanted.kinds == {Alert.FAILED, Alert.HELD_LONG} | ALWAYS
    assert settings.wanted.held_long_s == 180.0
    assert settings.channels == {
        "webhook": Webhook(url="https://hooks.shop.example/told", secret="s3cret"),
        "mail": Mail(
            host="mail.shop.example", port=587, sender="box@shop.example",
            recipients=("ann@shop.example",), user="box", password="s3cret",
        ),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("table", "where", "reason", "said"),
    [
        ({"tel": []}, "tel", Reason.UNKNOWN_NAME, "“tell”"),
        ({"tell": ["fire"]}, "tell", Reason.OUT_OF_RANGE, "“fire”"),
        ({"tell": "failed"}, "tell", Reason.WRONG_KIND, "a list"),
        ({"tell": [1]}, "tell", Reason.WRONG_KIND, "a list"),
        ({"held_long_min": 0}, "held_long_min", Reason.OUT_OF_RANGE, "0.1 to 1440"),
        ({"held_long_min": True}, "held_long_min", Reason.WRONG_KIND, "a number"),
        ({"webhook": "http://x.example"}, "webhook", Reason.NOT_A_TABLE, "a table"),
        ({"webhook": {}}, "webhook.url", Reason.MISSING, "missing"),
        ({"webhook": {"url": "file:///etc/passwd"}}, "webhook.url", Reason.OUT_OF_RANGE, "https"),
        ({"webhook": {"url": "http:///told"}}, "webhook.url", Reason.OUT_OF_RANGE, "a host"),
        (
            {"webhook": {"url": "http://x.example", "secret_file": "/nowhere"}},
            "webhook.secret_file",
            Reason.UNFIT_FILE_NAMED,
            "/nowhere",
        ),
        ({"mail": MAIL | {"to": []}}, "mail.to", Reason.MISSING, "missing"),
        ({"mail": MAIL | {"to": "ann"}}, "mail.to", Reason.WRONG_KIND, "a list"),
        ({"mail": MAIL | {"security": "ssl"}}, "mail.security", Reason.OUT_OF_RANGE, "starttls"),
        (
            {"mail": MAIL | {"security": "none", "user": "ann"}},
            "mail.security",
            Reason.OUT_OF_RANGE,
            "unencrypted",
        ),
        ({"mail": MAIL | {"port": "25"}}, "mail.port", Reason.WRONG_KIND, "whole number"),
        ({"mail": MAIL | {"port": 0}}, "mail.port", Reason.OUT_OF_RANGE, "1 to 65535"),
    ],
)
def test_every_fault_is_named_where_it_stands(faults_of, table, where, reason, said):
    (fault,) = faults_of(table)

    assert (fault.where, fault.reason) == (where, reason)
    assert said in fault.sentence


def test_all_faults_are_named_at_once(faults_of):
    assert {fault.where for fault in faults_of({"tel": [], "mail": {}})} == {
        "tel", "mail.host", "mail.sender", "mail.to",
    }  # fmt: skip


def test_a_secret_that_everybody_can_read_is_refused(faults_of, secret):
    secret.chmod(0o644)

    (fault,) = faults_of({"webhook": {"url": "http://x.example", "secret_file": secret.name}})

    assert fault.where == "webhook.secret_file"
    assert f"chmod o-r {secret}" in fault.sentence
