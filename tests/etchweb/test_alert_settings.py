import pytest

from etchweb.alerts.channels import Mail, Webhook
from etchweb.alerts.settings import FaultyAlerts, alert_settings
from etchwire.alert_policy import ALWAYS, Alert

MAIL = {"host": "mail.shop.example", "sender": "box@shop.example", "to": ["ann@shop.example"]}


@pytest.fixture
def secret(tmp_path):
    path = tmp_path / "secret"
    path.write_text("s3cret\n")
    path.chmod(0o640)
    return path


def test_without_a_word_everything_is_told_to_nobody():
    settings = alert_settings({})

    assert settings.channels == {}
    assert settings.wanted.kinds == frozenset(Alert)
    assert settings.wanted.held_long_s == 600.0


def test_both_ways_with_their_secrets_from_files(secret):
    settings = alert_settings({
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
    ("table", "sentence"),
    [
        ({"tel": []}, "alerts.tel: there is no such name here. Did you mean “tell”?"),
        ({"tell": ["fire"]}, "“fire” is nothing to tell"),
        ({"tell": "failed"}, "alerts.tell: is of the wrong kind"),
        ({"held_long_min": 0}, "between 0 and 1440"),
        ({"held_long_min": True}, "alerts.held_long_min: is of the wrong kind"),
        ({"webhook": "http://x.example"}, "alerts.webhook: has to be a table"),
        ({"webhook": {}}, "alerts.webhook.url: is missing"),
        ({"webhook": {"url": "file:///etc/passwd"}}, "has to begin with http"),
        ({"webhook": {"url": "http:///told"}}, "name a host"),
        ({"webhook": {"url": "http://x.example", "secret_file": "/nowhere"}}, "cannot be read"),
        ({"mail": {}}, "alerts.mail.host: is missing"),
        ({"mail": MAIL | {"security": "ssl"}}, "has to be one of starttls, tls, none"),
        ({"mail": MAIL | {"security": "none", "user": "ann"}}, "cross the network open"),
        ({"mail": MAIL | {"port": "25"}}, "alerts.mail.port: is of the wrong kind"),
    ],
)
def test_every_fault_is_named(table, sentence):
    with pytest.raises(FaultyAlerts) as fault:
        alert_settings(table)

    assert sentence in str(fault.value)


def test_all_faults_are_named_at_once():
    with pytest.raises(FaultyAlerts) as fault:
        alert_settings({"tel": [], "mail": {}})

    assert len(str(fault.value).splitlines()) == 4


def test_a_secret_that_everybody_can_read_is_refused(secret):
    secret.chmod(0o644)

    with pytest.raises(FaultyAlerts, match="read by everybody"):
        alert_settings({"webhook": {"url": "http://x.example", "secret_file": str(secret)}})
