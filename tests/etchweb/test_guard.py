import pytest

from etchweb.server.csrf_and_headers import HEADERS, LARGEST_FORM_BYTES, NO_FORM

ADDRESSES = ["/", "/watch.json", "/watch/stream", "/nowhere", "/picture/x.png"]


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_answer_carries_the_headers(phone, address):
    answer = phone.look(address)

    assert {name: answer.headers.get(name) for name in HEADERS} == HEADERS
    assert answer.headers["Cache-Control"] == "no-store"


def test_the_policy_allows_nothing_inline_and_nothing_foreign():
    # platform.md section 5, decided there; OWASP ASVS 5.0 3.4.3 (number from memory).
    policy = HEADERS["Content-Security-Policy"]

    assert "default-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy


@pytest.mark.parametrize(
    "origin",
    [
        None,
        "",
        "null",
        "http://elsewhere.example",
        "https://localhost",
        "http://localhost:81",
        "http://localhost.elsewhere.example",
    ],
)
def test_a_change_from_elsewhere_is_refused(phone, daemon, origin):
    answer = phone.press("hold", origin=origin)

    assert answer.status_code == 403
    assert daemon.asked == []


def test_a_browser_that_says_cross_site_is_believed(phone, daemon):
    answer = phone.press("hold", **{"Sec-Fetch-Site": "cross-site"})

    assert answer.status_code == 403
    assert daemon.asked == []


@pytest.mark.parametrize("host", ["elsewhere.example", "localhost.elsewhere.example", "10.0.0.1"])
@pytest.mark.parametrize("address", ADDRESSES)
def test_another_name_for_the_box_is_refused(phone, host, address):
    assert phone.look(address, Host=host).status_code == 400


@pytest.mark.parametrize("action", ["start", "hold", "hold-now", "resume", "stop"])
def test_looking_changes_nothing(phone, daemon, action):
    answer = phone.look(f"/{action}")

    assert answer.status_code == 405
    assert set(answer.allow) == {"OPTIONS", "POST"}
    assert daemon.asked == []


def test_a_body_larger_than_any_form_of_ours_is_refused(phone, daemon):
    answer = phone.press("start", form={"cautions": "x" * LARGEST_FORM_BYTES})

    assert answer.status_code == 413
    assert daemon.asked == []


def test_an_error_is_a_page_for_a_person_and_json_for_a_script(phone):
    assert "<h1>" in phone.look("/nowhere").text
    assert phone.look("/nowhere", Accept="application/json").json["sentence"]


@pytest.mark.parametrize("kind", ["application/json", "text/plain", "application/xml", "x/y; z"])
def test_what_is_no_form_is_not_taken(phone, daemon, kind):
    answer = phone.client.post(
        "/hold", data="{}", content_type=kind, headers={"Origin": "http://localhost"}
    )

    assert (answer.status_code, daemon.asked) == (415, [])
    assert NO_FORM in answer.text
