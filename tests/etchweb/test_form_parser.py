"""A form comes out as it went in, wherever a read of it ends.

Reference: RFC 7578 and RFC 2046, 5.1.1, as the encoder of urllib3 writes them.
"""

import io

import pytest
from flask import request
from urllib3.filepost import encode_multipart_formdata

from etchweb.server.static_files import PageApp

pytestmark = pytest.mark.slow

READ_BYTES = 64 * 1024  # what Werkzeug reads at a time
PHOTO = bytes(range(256)) * (READ_BYTES // 256)
FRAME_BYTES = len(encode_multipart_formdata({"photo": ("card.png", b""), "wiped": "yes"})[0])


@pytest.mark.parametrize("reads", [1, 2])
def test_a_photo_of_any_length_leaves_the_tick_behind_it_as_it_was_sent(reads):
    app = PageApp(__name__)
    for behind_bytes in range(FRAME_BYTES + 1):
        photo = (PHOTO * reads)[: reads * READ_BYTES - FRAME_BYTES + behind_bytes]
        fields = {"photo": ("card.png", photo), "wiped": "yes"}
        body, kind = encode_multipart_formdata(fields)
        with app.test_request_context(
            "/", method="POST", input_stream=io.BytesIO(body), content_type=kind,
            content_length=len(body),
        ):  # fmt: skip
            form = request.form.to_dict()
            sent = request.files["photo"].read()
        assert (form, sent == photo) == ({"wiped": "yes"}, True), behind_bytes
