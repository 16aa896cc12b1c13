"""Strangers at the page, as a process of their own: `page_strangers.py PORT SECONDS ADDRESSES`.

Each attack is a thread that starts again as soon as it is turned away, from so many addresses of
this machine (127.0.1.1 and on); what is printed is JSON: how often each was begun.
"""

import http.client
import json
import socket
import sys
import threading
import time
from contextlib import suppress

SILENT = 100
BODY_BYTES = 80_000_000
PLACE = "/m/left"
PIECE = bytes(64 * 1024)
FORM = "application/x-www-form-urlencoded"


class Strangers:
    def __init__(self, port, seconds, addresses):
        self.port, self.addresses = port, addresses
        self.ends_at_s = time.monotonic() + seconds
        self.begun = {}
        self._turns = 0

    @property
    def goes_on(self):
        return time.monotonic() < self.ends_at_s

    def knock(self):
        self._turns += 1
        address = f"127.0.1.{1 + self._turns % self.addresses}"
        return socket.create_connection(("127.0.0.1", self.port), 5, source_address=(address, 0))

    def head(self, method, path, *lines, host=None):
        host = host or f"127.0.0.1:{self.port}"
        origin = f"Origin: http://127.0.0.1:{self.port}"
        return "\r\n".join(
            [f"{method} {path} HTTP/1.1", f"Host: {host}", origin, *lines, "", ""]
        ).encode()

    def keep_silent(self):
        """Have a hundred connections open, and open those anew that were closed."""
        held = []
        while self.goes_on:
            held = [one for one in held if _is_open(one)]
            while len(held) < SILENT and self.goes_on:
                held.append(self.knock())
                self.count("silent")
            time.sleep(0.05)

    def trickle_headers(self):
        with self.knock() as client:
            self.count("slow headers")
            client.sendall(f"GET {PLACE}/pair HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\n".encode())
            while self.goes_on:
                client.sendall(b"X-Slow: 1\r\n")
                time.sleep(0.5)

    def extend_chunks(self):
        with self.knock() as client:
            self.count("chunk extensions")
            client.sendall(self.head("POST", f"{PLACE}/pair", "Transfer-Encoding: chunked") + b"5;")
            while self.goes_on:
                client.sendall(PIECE)

    def send_bodies(self):
        with self.knock() as client:
            self.count("80 MB bodies")
            kind = "Content-Type: multipart/form-data; boundary=x"
            client.sendall(self.head("POST", f"{PLACE}/new", kind, f"Content-Length: {BODY_BYTES}"))
            for _ in range(BODY_BYTES // len(PIECE)):
                client.sendall(PIECE)

    def use_foreign_names(self):
        self.ask("unknown names", self.head("GET", f"{PLACE}/pair", host="a-foreign.example"))

    def guess_codes(self):
        form = b"code=000000&form_token=0"
        head = self.head(
            "POST", f"{PLACE}/pair", f"Content-Type: {FORM}", f"Content-Length: {len(form)}"
        )
        self.ask("wrong codes", head + form)

    def open_pages(self):
        self.ask("pages unpaired", self.head("GET", f"{PLACE}/pair"))

    def ask(self, name, request):
        with self.knock() as client:
            self.count(name)
            while self.goes_on:
                client.sendall(request)
                answer = http.client.HTTPResponse(client)
                answer.begin()
                answer.read()

    def count(self, name):
        self.begun[name] = self.begun.get(name, 0) + 1

    def for_ever(self, attack):
        while self.goes_on:
            with suppress(OSError, http.client.HTTPException):  # turned away
                attack()

    def run(self):
        attacks = [
            self.keep_silent, *[self.trickle_headers] * 4, self.extend_chunks, self.send_bodies,
            self.use_foreign_names, self.guess_codes, *[self.open_pages] * 2,
        ]  # fmt: skip
        threads = [threading.Thread(target=self.for_ever, args=(attack,)) for attack in attacks]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
        return self.begun


def _is_open(client):
    client.setblocking(False)
    try:
        return client.recv(1) != b""
    except BlockingIOError:
        return True
    except OSError:
        return False


if __name__ == "__main__":
    print(json.dumps(Strangers(int(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3])).run()))
