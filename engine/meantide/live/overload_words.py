"""What is said of overload on the terminal: when it comes, while it lasts, when it is past."""

from meantide.live.engine import Load

AGAIN_AFTER = 20
"""Looks between two lines while it lasts."""


class OverloadWords:
    """Looks at the load now and then, and has something to say where something changed."""

    def __init__(self) -> None:
        self._thinned = 0
        self._limited = False
        self._looks = AGAIN_AFTER

    def look(self, load: Load) -> str | None:
        """Return a line to say, or None."""
        self._looks += 1
        more = load.thinned - self._thinned
        if self._limited and load.limit == load.most:
            self._limited, self._looks, self._thinned = False, AGAIN_AFTER, load.thinned
            return (
                f"overload past: up to {load.most} notes sound again; {load.thinned} were faded "
                "out so far"
            )
        if more and self._looks >= AGAIN_AFTER:
            self._limited, self._looks, self._thinned = True, 0, load.thinned
            return (
                f"overload: blocks took too long, {more} notes were faded out (those let go first, "
                f"the quietest of them); at most {load.limit} of {load.most} sound for now"
            )
        return None
