"""Who may do what on the page: one table, and what it does not name is refused."""

from enum import StrEnum
from typing import Final


class Role(StrEnum):
    """What a paired phone may do."""

    WATCH = "watch"  # see, hold and stop
    OPERATE = "operate"  # everything; a start still needs somebody at the machine


# Endpoint: the least a phone must be paired for. None lets everybody in who reaches the box.
NEEDS: Final[dict[str, Role | None]] = {
    "static": None,
    "pairing.show": None,
    "pairing.pair": None,
    "watch.show": Role.WATCH,
    "watch.poll": Role.WATCH,
    "watch.stream": Role.WATCH,
    "watch.hold": Role.WATCH,
    "watch.hold-now": Role.WATCH,
    "watch.stop": Role.WATCH,
    "watch.answer-round": Role.OPERATE,
    "watch.arm": Role.OPERATE,
    "watch.disarm": Role.OPERATE,
    "watch.reset": Role.OPERATE,
    "watch.start": Role.OPERATE,
    "watch.resume": Role.OPERATE,
    "shading.ask_for_shade": Role.OPERATE,
    "machines.show": Role.WATCH,
    "fleet.show": Role.WATCH,
    "cards.show": Role.WATCH,
    "cards.show_card": Role.WATCH,
    "cards.work": Role.WATCH,
    "cards.overlay": Role.WATCH,
    "cards.new": Role.OPERATE,
    "cards.put_on_bench": Role.OPERATE,
    "cards.read_photos": Role.OPERATE,
    "cards.mark": Role.OPERATE,
    "cards.say_pairs": Role.OPERATE,
    "cards.choose": Role.OPERATE,
    "new_picture.show": Role.OPERATE,
    "new_picture.upload": Role.OPERATE,
    "new_picture.begin_again": Role.OPERATE,
    "new_picture.go_on": Role.OPERATE,
    "new_picture.put_away": Role.OPERATE,
    "new_picture.cancel": Role.OPERATE,
    "new_picture.work": Role.OPERATE,
    "new_picture.picture": Role.OPERATE,
    "new_picture.tile": Role.OPERATE,
    "new_picture.cut": Role.OPERATE,
    "new_picture.look": Role.OPERATE,
    "new_picture.proof": Role.OPERATE,
    "new_picture.mend": Role.OPERATE,
    "new_picture.put_on_bench": Role.OPERATE,
    "designs.design": Role.OPERATE,
    "craft.lasers": Role.WATCH,
    "craft.surfaces": Role.WATCH,
    "craft.lots": Role.WATCH,
    "craft.describe_lot": Role.OPERATE,
    "craft.describe_laser": Role.OPERATE,
    "craft.describe_surface": Role.OPERATE,
    "craft.wipe_lens": Role.OPERATE,
    "craft.change_filter": Role.OPERATE,
    "bench.show": Role.OPERATE,
    "bench.load": Role.OPERATE,
    "orders.show": Role.WATCH,
    "orders.show_order": Role.WATCH,
    "orders.new": Role.OPERATE,
    "orders.take": Role.OPERATE,
    "orders.change": Role.OPERATE,
    "orders.change_item": Role.OPERATE,
    "orders.answer_proof": Role.OPERATE,
    "orders.show_costs": Role.OPERATE,
    "orders.save_costs": Role.OPERATE,
    "orders.books": Role.OPERATE,
    "orders.forget": Role.OPERATE,
    "orders.show_list": Role.OPERATE,
    "orders.take_list": Role.OPERATE,
    "pictures.show": Role.WATCH,
    "pictures.head_path": Role.WATCH,
    "logbook.show": Role.WATCH,
    "logbook.show_etch": Role.WATCH,
    "logbook.table": Role.WATCH,
    "taking_up.show": Role.OPERATE,
    "taking_up.take_up": Role.OPERATE,
    "verdicts.save": Role.OPERATE,
    "verdicts.photo": Role.WATCH,
    "machine.show": Role.WATCH,
    "machine.show_wiring": Role.WATCH,
    "machine.show_settings": Role.WATCH,
    "machine.poll": Role.WATCH,
    "machine.stop": Role.WATCH,
    "machine.move": Role.OPERATE,
    "machine.nudge": Role.OPERATE,
    "machine.trace": Role.OPERATE,
    "machine.set-origin": Role.OPERATE,
    "machine.find-origin": Role.OPERATE,
    "machine.home": Role.OPERATE,
    "machine.unlock": Role.OPERATE,
    "machine.measure": Role.OPERATE,
    "machine.try": Role.OPERATE,
    "practice.show": Role.OPERATE,
    "practice.act": Role.OPERATE,
    "practice.photograph": Role.OPERATE,
    "plays.show": Role.OPERATE,
    "plays.poll": Role.OPERATE,
    "plays.begin": Role.OPERATE,
    "plays.end": Role.OPERATE,
    "phones.show": Role.WATCH,
    "phones.leave": Role.WATCH,
    "phones.forget": Role.OPERATE,
    "phones.add": Role.OPERATE,
}


def may(role: Role | None, endpoint: str) -> bool:
    """Return whether a phone paired as `role` (None: not paired) may reach `endpoint`."""
    needs = NEEDS.get(endpoint, Role.OPERATE)
    if needs is None:
        return True
    return role is Role.OPERATE or role is needs
