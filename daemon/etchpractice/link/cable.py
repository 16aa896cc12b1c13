"""The cable between the port and what hangs on it: the practice machine, or something else."""

from etchpractice.link.foreign_devices import FOREIGN_DEVICES, ForeignDevice
from etchpractice.link.pty_port import PtyPort
from etchpractice.machine import PracticeMachine


class Cable:
    """Carries bytes between a port and the machine; its verbs are what people do to it."""

    def __init__(self, machine: PracticeMachine, port: PtyPort, *, boot_s: float) -> None:
        self._machine = machine
        self._port = port
        self._boot_s = boot_s
        self._foreign_device: ForeignDevice | None = None

    # Verbs

    def unplug(self) -> None:
        """Pull it out: the port vanishes."""
        self._foreign_device = None
        if self._machine.is_plugged:
            self._machine.unplug()
        self._port.unplug()

    def plug_in(self, name: str = "any") -> None:
        """Put it back into the machine; `name` is how the port's compares with the last."""
        if not self._machine.is_plugged:
            self.unplug()
            self._port.plug_in(name=name)
            self._machine.plug_in()

    def plug_in_taken(self) -> None:
        """Put it back where another program is quicker at the port, and keeps it."""
        if not self._machine.is_plugged:
            self.unplug()
            self._port.plug_in(is_taken=True)
            self._machine.plug_in()

    def free_port(self) -> None:
        """End the other program."""
        self._port.free()

    def plug_into(self, device: str) -> None:
        """Put it into another device, one of FOREIGN_DEVICES."""
        foreign_device = FOREIGN_DEVICES[device]()
        self.unplug()
        self._port.plug_in()
        self._foreign_device = foreign_device

    def block(self) -> None:
        """Let the port's driver take nothing more until it is opened anew."""
        self._port.block()

    # What is carried

    def look(self) -> None:
        """Notice that the host has opened the port."""
        if self._port.look() and self._foreign_device is None:
            self._machine.open_port(self._boot_s)

    def hear(self) -> bytes:
        """Hand over what the host wrote, and return it."""
        data = self._port.read() if self._port.is_open_by_host else b""
        if data and self._foreign_device is not None:
            self._foreign_device.hear(data)
        elif data:
            self._machine.write(data)
        return data

    def tell(self) -> bytes:
        """Send what there is for the host, and return it."""
        if self._foreign_device is not None:
            data = self._foreign_device.say(self._machine.now_s)
        else:
            data = self._machine.read() if self._machine.is_plugged else b""
        self._port.write(data)
        return data
