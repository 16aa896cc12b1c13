"""The page's own file: what may stand in it, and whose machines it shows."""

import re

import pytest

from etchwarden.configuring.page_settings import PageSettings
from etchwire.configuration.faults import FaultyConfiguration
from support.harnesses.install_bench import BOARD


@pytest.fixture
def settings_of(tmp_path):
    def settings_of(text):
        (tmp_path / "page.toml").write_text(text)
        return PageSettings.at(tmp_path / "page.toml")

    return settings_of


def test_the_file_that_is_installed_is_fit_and_shows_every_machine_beside_it(settings_of, tmp_path):
    for name in ("right.toml", "left.toml", "Not a name.toml", "notes.txt"):
        (tmp_path / name).touch()

    settings = settings_of(BOARD["page.toml"].decode())

    assert settings.machines == ("left", "right")
    assert (settings.host, settings.port) == ("0.0.0.0", 8080)
    assert str(settings.socket("left")) == "/run/etchwarden/left/api.sock"


def test_every_entry_of_the_installed_file_may_be_set(settings_of, tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("hidden")
    secret.chmod(0o640)
    text = re.sub(r"^# (?=\[|\w+ = )", "", BOARD["page.toml"].decode(), flags=re.MULTILINE)

    settings = settings_of(re.sub(r'"/etc/etchwarden/secrets/\w+"', f'"{secret}"', text))

    assert settings.machines == ("left", "right")
    assert set(settings.alerts.channels) == {"webhook", "mail"}
    assert settings.fleet.password == "hidden"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("prot = 80", "Did you mean “port”?"),
        ("port = 70000", "from 0 to 65535"),
        ("host = 1", "has to be a text"),
        ("machines = ['../x']", "list of names"),
        ("machines = ['left', 'left']", "each once"),
        ("alerts = 3", "has to be a table"),
        ("", "is empty"),
        ("port = \nhost = 1", "line 1"),
    ],
)
def test_what_is_wrong_is_named(settings_of, text, said):
    with pytest.raises(FaultyConfiguration, match=re.escape(said)):
        settings_of(text)
