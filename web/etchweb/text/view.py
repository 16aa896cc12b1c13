"""What a page is given to show: words and figures by the names of their places."""

from typing import TypeAlias

View: TypeAlias = dict[str, object]
