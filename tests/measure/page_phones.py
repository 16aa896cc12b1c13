"""Twenty phones as a process of their own: `python page_phones.py PORT SECONDS` prints JSON.

Eight listen to a stream; twelve ask every three seconds, as a page does that came ninth; beside
them somebody opens five pages a second.
"""

import http.client
import json
import sys
import threading
import time

STREAMS, POLLERS, POLL_EVERY_S, PAGES_PER_S = 8, 12, 2.0, 5
PAGES = ("/", "/logbook", "/watch.json", "/phones", "/logbook?text=patch")


class Phones:
    def __init__(self, port, seconds):
        self.port = port
        self.ends_at_s = time.monotonic() + seconds
        self.seconds = seconds
        self.asked_ms, self.heard_bytes, self.statuses = [], [], []

    def ask(self, path):
        begun_s = time.monotonic()
        phone = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        phone.request("GET", path)
        answer = phone.getresponse()
        answer.read()
        phone.close()
        self.statuses.append(answer.status)
        self.asked_ms.append((time.monotonic() - begun_s) * 1000)

    def listen(self):
        phone = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        phone.request("GET", "/watch/stream")
        answer = phone.getresponse()
        answer.read1()  # everything, once
        heard = 0
        while time.monotonic() < self.ends_at_s:
            heard += len(answer.read1())
        phone.close()
        self.heard_bytes.append(heard)

    def poll(self, late_s):
        time.sleep(late_s)
        while time.monotonic() < self.ends_at_s:
            self.ask("/watch.json")
            time.sleep(POLL_EVERY_S)

    def open_pages(self):
        number, begun_s = 0, time.monotonic()
        while time.monotonic() < self.ends_at_s:
            self.ask(PAGES[number % len(PAGES)])
            number += 1
            time.sleep(max(0.0, begun_s + number / PAGES_PER_S - time.monotonic()))

    def run(self):
        people = [threading.Thread(target=self.listen) for _ in range(STREAMS)]
        people += [
            threading.Thread(target=self.poll, args=(number * POLL_EVERY_S / POLLERS,))
            for number in range(POLLERS)
        ]
        people.append(threading.Thread(target=self.open_pages))
        for one in people:
            one.start()
        for one in people:
            one.join()
        return {
            "asked_ms": sorted(self.asked_ms),
            "not_answered": sum(status != 200 for status in self.statuses),
            "bytes_per_s": sorted(heard / self.seconds for heard in self.heard_bytes),
        }


if __name__ == "__main__":
    print(json.dumps(Phones(int(sys.argv[1]), float(sys.argv[2])).run()))
