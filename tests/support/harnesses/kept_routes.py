"""Routes compiled once for all the pages that are made in one process."""

from werkzeug.routing import Rule

from etchweb.server.static_files import PageApp

_COMPILED = {}


class KeptRule(Rule):
    """A route that is compiled as the same route of an earlier page was.

    Compiling what builds its address takes nine tenths of the time in which a page is made. All
    that a route holds after it follows from what stands in the key, but for its map.
    """

    def compile(self):
        key = (
            self.rule,
            self.endpoint,
            frozenset(self.methods or ()),
            repr(self.defaults),
            self.subdomain,
        )
        if key in _COMPILED:
            vars(self).update(vars(_COMPILED[key]) | {"map": self.map})
        else:
            super().compile()
            _COMPILED[key] = self


def keep_routes():
    """Let every page that is made from now on share its compiled routes."""
    PageApp.url_rule_class = KeptRule
