"""Who may send a photo: one a phone, a few at once, and not more than the card takes."""

import pytest
from werkzeug.exceptions import HTTPException

from etchweb.server.uploads import (
    ALREADY_SENDING,
    COPIES,
    MOST_AT_ONCE,
    NO_ROOM,
    OTHERS_SEND,
    STAYS_FREE_BYTES,
    Uploads,
)

PHOTO_BYTES = 8_000_000


@pytest.fixture
def uploads():
    return Uploads(lambda: 10**12)


def refusal(uploads, holder):
    with pytest.raises(HTTPException) as refused:
        uploads.begin(holder, PHOTO_BYTES)
    return refused.value.code, refused.value.description


def test_a_phone_that_is_sending_may_not_send_another(uploads):
    end = uploads.begin("ann", PHOTO_BYTES)
    assert refusal(uploads, "ann") == (409, ALREADY_SENDING)

    end()

    uploads.begin("ann", PHOTO_BYTES)


def test_a_few_phones_send_at_once(uploads):
    for number in range(MOST_AT_ONCE):
        uploads.begin(f"phone {number}", PHOTO_BYTES)

    assert refusal(uploads, "one more") == (503, OTHERS_SEND)


@pytest.mark.parametrize(("lacks_bytes", "others"), [(0, 0), (1, 0), (0, 1), (1, 1)])
def test_what_the_card_has_no_room_for_is_not_begun(lacks_bytes, others):
    """Others on the way are counted whole, as if nothing of theirs lay on the card yet."""
    wanted_bytes = COPIES * (1 + others) * PHOTO_BYTES + STAYS_FREE_BYTES
    free_bytes = [10**12] * others + [wanted_bytes - lacks_bytes]
    uploads = Uploads(lambda: free_bytes.pop(0))
    for number in range(others):
        uploads.begin(f"phone {number}", PHOTO_BYTES)

    if lacks_bytes:
        assert refusal(uploads, "ann") == (507, NO_ROOM)
    else:
        uploads.begin("ann", PHOTO_BYTES)
