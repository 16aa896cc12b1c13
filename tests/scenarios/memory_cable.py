"""The verbs of `cable`, in memory: what a port without a kernel can show of them."""

from etchpractice.link.foreign_devices import FOREIGN_DEVICES


class MemoryCable:
    """Between a MemoryPort and the machine; a port in memory has no number to come back under."""

    def __init__(self, port, machine):
        self._port, self._machine = port, machine

    def unplug(self):
        self._port.hangs_on(self._machine)
        self._machine.unplug()

    def plug_in(self, name="any"):
        del name
        self._machine.plug_in()

    def plug_in_taken(self):
        self._port.is_taken = True
        self._machine.plug_in()

    def free_port(self):
        self._port.is_taken = False

    def plug_into(self, device):
        self._port.hangs_on(OnCable(FOREIGN_DEVICES[device](), self._machine))

    def block(self):
        self._port.is_blocked = True


class OnCable:
    """A foreign device, as a MemoryPort asks the machine."""

    is_plugged = True

    def __init__(self, foreign_device, machine):
        self._foreign_device, self._machine = foreign_device, machine

    def open_port(self, boot_s):
        pass

    def write(self, data):
        self._foreign_device.hear(data)

    def read(self):
        return self._foreign_device.say(self._machine.now_s)
