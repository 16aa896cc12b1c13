import pytest
from click.testing import CliRunner

from etchwarden.commands.alert import command
from support.fakes.alert_sinks import WebSink, serving


@pytest.fixture
def web():
    with serving(WebSink()) as sink:
        yield sink


@pytest.fixture
def run(tmp_path):
    def run(text):
        (tmp_path / "page.toml").write_text(text)
        return CliRunner().invoke(command, ["--settings", str(tmp_path / "page.toml")])

    return run


def test_a_try_reaches_whom_the_settings_name(run, web):
    done = run(f'[alerts.webhook]\nurl = "{web.url}"\n')

    assert (done.exit_code, done.output) == (0, "webhook: delivered.\n")
    assert web.posts[0][1]["title"] == "A try"


def test_a_try_that_does_not_arrive_says_why(run, web):
    web.statuses = [500]

    done = run(f'[alerts.webhook]\nurl = "{web.url}"\n')

    assert done.exit_code == 1
    assert "webhook: The webhook was not delivered: HTTP Error 500" in done.output


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("port = 8080\n", "names nobody to tell"),
        ("[alerts.webhook]\n", "alerts.webhook.url"),
        ("[alerts\n", "end of a table"),
    ],
)
def test_settings_by_which_nobody_can_be_told_are_a_sentence(run, text, sentence):
    done = run(text)

    assert done.exit_code == 1
    assert sentence in done.output
    assert "Traceback" not in done.output
