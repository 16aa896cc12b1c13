"""What the logbook keeps of the tests of contacts: proofs, and the safety relay's last test."""

from collections.abc import Collection, Mapping

from etchdaemon.guard.lock import GuardLock
from etchdaemon.interlocks.checks.proof_tests import ProofTests
from etchdaemon.interlocks.checks.safety_relay import SafetyRelay
from etchdaemon.ports import BoxRecords, Clock


class ContactTestRecords:
    """Recalls at the daemon's start what the logbook holds, and writes down what a look adds."""

    def __init__(
        self,
        proofs: ProofTests,
        relay: SafetyRelay,
        *,
        lock: GuardLock,
        clock: Clock,
        records: BoxRecords | None,
    ) -> None:
        self._proofs = proofs
        self._relay = relay
        self._lock = lock
        self._clock = clock
        self._records = records

    def recall_proofs(self, days: Mapping[str, str]) -> None:
        """Take the day on which each contact was last seen to open, by its input's name."""
        with self._lock.held():
            self._proofs.recall(days)

    def demand_proofs(self, proven: Collection[str], *, is_required: bool) -> None:
        """Ask for what was not `proven` at the present pins; `is_required`: before arming."""
        with self._lock.held():
            self._proofs.demand(proven, is_required=is_required)

    def recall_relay_test(self, last: Mapping[str, object]) -> None:
        """Take the `day` of the safety relay's last test, and whether it `has_passed`."""
        with self._lock.held():
            self._relay.recall(last)

    def write_new(self) -> None:
        """Queue the tests that have ended since the last call: a contact's once a day at most."""
        for name in self._proofs.take_openings():
            at_utc = self._clock.utc_now()
            if self._proofs.note(name, at_utc[:10]) and self._records is not None:
                self._records.note_proof(name.value, at_utc)
        for has_passed in self._relay.take_results():
            at_utc = self._clock.utc_now()
            self._relay.note_day(at_utc[:10])
            if self._records is not None:
                self._records.note_relay_test(at_utc, has_passed=has_passed)
