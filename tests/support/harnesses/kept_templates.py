"""Templates compiled once for all the pages that are made in one process."""

from jinja2 import BytecodeCache


class KeptTemplates(BytecodeCache):
    """Keeps what was compiled, by the name and the text of a template."""

    def __init__(self):
        self._kept = {}

    def load_bytecode(self, bucket):
        found = self._kept.get((bucket.key, bucket.checksum))
        if found is not None:
            bucket.code = found

    def dump_bytecode(self, bucket):
        self._kept[bucket.key, bucket.checksum] = bucket.code


TEMPLATES = KeptTemplates()  # compiling them takes longer than most of the tests of pages
