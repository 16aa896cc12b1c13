"""Where alerts go in tests: a web host and a mail host on this machine, each a few lines."""

import json
import socketserver
import threading
from contextlib import contextmanager
from email import message_from_bytes, policy
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@contextmanager
def serving(server):
    """Serve until the block is left."""
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


class WebSink(ThreadingHTTPServer):
    """Takes JSON; answers with `statuses` in turn, and with 204 when they are used up."""

    def __init__(self):
        super().__init__(("127.0.0.1", 0), _Post)
        self.posts = []
        self.statuses = []
        self.arrived = threading.Semaphore(0)

    @property
    def url(self):
        return f"http://127.0.0.1:{self.server_port}/told"


class _Post(BaseHTTPRequestHandler):
    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        self.server.posts.append((dict(self.headers), json.loads(body)))
        self.send_response(self.server.statuses.pop(0) if self.server.statuses else 204)
        self.send_header("Location", "/elsewhere")
        self.send_header("Content-Length", "0")
        self.end_headers()
        self.server.arrived.release()

    def do_GET(self):  # whoever follows a redirect finds everything in order
        self.server.posts.append((dict(self.headers), {"id": "followed"}))
        self.send_response(204)
        self.end_headers()

    def log_message(self, *_):
        pass


class MailSink(socketserver.ThreadingTCPServer):
    """Takes mails; refuses recipients while `refuses` is set."""

    allow_reuse_address = True

    def __init__(self):
        super().__init__(("127.0.0.1", 0), _Letter)
        self.mails = []
        self.refuses = False

    @property
    def port(self):
        return self.server_address[1]


class _Letter(socketserver.StreamRequestHandler):
    def handle(self):
        self._say("220 sink")
        while line := self.rfile.readline().decode().strip():
            word = line.split()[0].upper()
            if word == "DATA":
                self._take()
            elif word == "RCPT" and self.server.refuses:
                self._say("451 later")
            else:
                self._say("221 bye" if word == "QUIT" else "250 ok")
                if word == "QUIT":
                    return

    def _take(self):
        self._say("354 go on")
        lines = iter(self.rfile.readline, b".\r\n")
        self.server.mails.append(message_from_bytes(b"".join(lines), policy=policy.default))
        self._say("250 taken")

    def _say(self, line):
        self.wfile.write(f"{line}\r\n".encode())
