import pytest

from etchweb.auth.codes import (
    CODE_DIGITS,
    code_digest,
    form_token,
    new_code,
    new_token,
    token_digest,
    typed_code,
)


def test_a_code_is_six_digits():
    codes = {new_code() for _ in range(200)}

    assert all(len(code) == CODE_DIGITS and code.isdigit() for code in codes)
    assert len(codes) > 190


def test_a_token_is_too_long_to_guess_and_kept_only_as_a_digest():
    # OWASP ASVS 5.0 7.2.3: at least 128 bits of entropy (number from platform.md).
    first, second = new_token(), new_token()

    assert first.token != second.token
    assert len(first.token) * 6 >= 256
    assert first.digest == token_digest(first.token)
    assert first.token not in first.digest


@pytest.mark.parametrize("typed", ["123456", "123 456", "123-456", " 123456\n"])
def test_spaces_and_dashes_are_a_persons_to_add(typed):
    assert typed_code(typed) == "123456"


def test_digits_of_other_scripts_are_not_ours():
    assert typed_code("١٢٣٤٥٦") == ""


def test_what_is_kept_of_a_code_depends_on_the_boxs_secret():
    assert code_digest(b"one", "123456") != code_digest(b"two", "123456")


def test_a_form_is_good_for_its_holder_alone():
    assert form_token(b"secret", "one") != form_token(b"secret", "two")
    assert form_token(b"secret", "one") == form_token(b"secret", "one")
