"""The moments at which daemon and page are killed: how each is come to, and what is asked then."""

import http.client
import re
import secrets
import time
from threading import Thread

from etchpractice.scenario.people import ANSWERS
from etchwire.errors import Refused, WireError
from support.harnesses.plain_client import PlainClient
from support.kills.household import PATIENCE_S
from support.samples.photo_files import encoded, scene


class Asking(Thread):
    """Somebody who asks for something while the other end is killed."""

    def __init__(self, ask):
        super().__init__()
        self._ask = ask
        self.fault = None
        self.start()

    def run(self):
        try:
            self._ask()
        except (Refused, WireError, OSError, http.client.HTTPException):
            pass  # the other end is gone, or cannot do it any more
        except Exception as fault:  # noqa: BLE001 - it is raised where it is waited for
            self.fault = fault

    def close(self):
        self.join(PATIENCE_S)
        assert not self.is_alive()
        if self.fault is not None:
            raise self.fault


def wait_for(client, holds):
    """Ask until `holds(status)`, and return that status."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds(status := client.call("status")):
        assert time.monotonic() < deadline_s, status
        time.sleep(0.02)  # a look costs the daemon a millisecond
    return status


def press_until(house, client, holds):
    """Press the button until `holds(status)`: a busy daemon may miss a short press."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not holds(status := client.call("status")):
        assert time.monotonic() < deadline_s, status
        house.press_button()
        for _ in range(25):
            if holds(client.call("status")):
                break
            time.sleep(0.02)
    return status


def be_free(house, client):
    """Have nothing under way."""
    if wait_for(client, lambda status: status["state"] != "starting")["may"].count("load"):
        return
    try_to(client, "stop")
    wait_for(client, lambda status: "load" in status["may"])


def load(house, client):
    be_free(house, client)
    with house.open_job() as files:
        house.ledger.note_job(client.load(*files)["job_sha256"])


def arm(house, client):
    load(house, client)
    begin_to_arm(house, client)


def begin_to_arm(house, client):
    """Set the origin where it is lost, answer the questions, and press the button."""
    may = wait_for(client, lambda status: not {"arm", "reset"}.isdisjoint(placed(client, status)))
    if "arm" not in may["may"]:
        may = press_until(  # some are reset at the machine alone
            house, client, lambda status: status["interlocks"]["is_somebody_there"]
        )
        client.call("reset", names=[trip["name"] for trip in may["interlocks"]["trips"]])
        press_until(house, client, lambda status: "arm" in status["may"])  # a relay may have fallen
    wait_for(client, lambda status: "disarm" in arming(client, status))
    house.press_button()


def placed(client, status):
    """Return what may be asked; the origin is set where the controller was restarted."""
    if "set_origin" in status["may"] and not status["machine"]["origin"]["is_known"]:
        try_to(client, "set_origin")
    return status["may"]


def arming(client, status):
    """Return what may be asked; arming begins once a job, and each new origin, is checked."""
    if "arm" in status["may"]:
        try_to(client, "arm", answers=dict(ANSWERS))
    return status["may"]


def get_ready(house, client):
    """Arm, and again where it came to nothing or the minute to start in went by."""
    load(house, client)
    while "start" not in client.call("status")["may"]:
        begin_to_arm(house, client)
        press_until(house, client, lambda status: not {"start", "arm"}.isdisjoint(status["may"]))


def etch(house, client):
    """Have an etch under way, from a moment ago or a little longer."""
    while True:
        get_ready(house, client)
        try_to(client, "start", acknowledge_long_run=True)
        house.ledger.note_newest_run(client)
        status = client.call("status")
        if status["state"] == "etching":
            return


def etch_a_while(house, client):
    etch(house, client)
    house.linger(house.chance.uniform(0.0, 0.6), client)


def try_to(client, method, **params):
    """Ask for what may not be possible any more."""
    try:
        return client.call(method, **params)
    except Refused:
        return None


def write_records(house):
    """File surfaces, one after the other: each that was answered is on disk."""
    with PlainClient(house.session.socket) as client:
        while True:
            name = f"tile {secrets.token_hex(4)}"
            client.call("save_surface", surface={"name": name, "notes": name * 50})
            house.ledger.surfaces.add(name)


def back_up(house):
    with PlainClient(house.session.socket) as client:
        while True:
            client.call("backup")
            while not house.ledger.note_backups(client):
                pass


def write_rest(house):
    """Take up what is left of the last etch, over and over."""
    with PlainClient(house.session.socket) as client:
        run = client.call("status")["unfinished"]
        while run is not None:
            told = client.call("unfinished", run=run["run"])
            if told["rest"] is None:
                return  # all of it was etched
            rest = client.call(
                "reenter", run=run["run"], confirm="origin set again", row=told["first_row"]
            )
            house.ledger.note_job(rest["job_sha256"])


def load_again(house):
    with PlainClient(house.session.socket) as client:
        while True:
            with house.open_job() as files:
                house.ledger.note_job(client.load(*files)["job_sha256"])


def send_photos(house):
    """Bring photos to the page, one after the other; each that was answered is a draft."""
    photo = encoded(scene(900, 600), "JPEG")
    while True:
        phone = http.client.HTTPConnection("127.0.0.1", house.page_port, timeout=PATIENCE_S)
        phone.request("GET", "/new")
        token = re.search(r'name="form_token" value="([^"]+)"', phone.getresponse().read().decode())
        mark = secrets.token_hex(8)
        body = b"".join((
            f'--{mark}\r\nContent-Disposition: form-data; name="form_token"\r\n\r\n{token[1]}\r\n'
            f'--{mark}\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n'
            "Content-Type: image/jpeg\r\n\r\n".encode(),
            photo,
            f"\r\n--{mark}--\r\n".encode(),
        ))  # fmt: skip
        origin = f"http://127.0.0.1:{house.page_port}"
        headers = {"Content-Type": f"multipart/form-data; boundary={mark}", "Origin": origin}
        phone.request("POST", "/new", body=body, headers=headers)
        answer = phone.getresponse()
        answer.read()
        assert answer.status == 303, answer.status
        house.ledger.note_draft(answer.headers["Location"].split("/")[-2])
        phone.close()


def begin(work):
    """Return a scene in which `work` is asked for by somebody else while nothing is etched."""

    def scene(house, client):
        be_free(house, client)
        return Asking(lambda: work(house))

    return scene


def start(house, client):
    get_ready(house, client)

    def ask():
        with PlainClient(house.session.socket) as another:
            another.call("start", acknowledge_long_run=True)

    return Asking(ask)


def steer(wish):
    """Return a scene in which an etch is asked to hold or stop."""

    def scene(house, client):
        etch_a_while(house, client)
        try_to(client, wish)

    return scene


def resume(house, client):
    etch_a_while(house, client)
    try_to(client, "hold_now")
    if wait_for(client, lambda status: status["state"] in ("held", "ended"))["state"] == "held":
        try_to(client, "resume")


def photos_while_etching(house, client):
    etch(house, client)
    return Asking(lambda: send_photos(house))


# What is under way, how it is come to, and how long after that the kill may come: in starts of
# the daemon, a quarter of a second on a quiet machine and longer on a busy one.
MOMENTS = {
    "etching": (etch, 4.0),
    "taking a job in": (begin(load_again), 0.2),
    "checking a job": (load, 0.5),
    "arming": (arm, 0.5),
    "ready to start": (get_ready, 0.3),
    "beginning an etch": (start, 0.2),
    "holding at the row's end": (steer("hold"), 0.1),
    "holding at once": (steer("hold_now"), 0.1),
    "going on after a hold": (resume, 0.1),
    "stopping": (steer("stop"), 0.1),
    "writing a rest": (begin(write_rest), 1.0),
    "backing up": (begin(back_up), 0.5),
    "writing records": (begin(write_records), 0.3),
    "preparing photos": (photos_while_etching, 3.0),
}
STARTING = "starting"
DECK = (*MOMENTS, *["etching"] * 2, STARTING)
