"""What is said of overload on the terminal: when it comes, while it lasts, when it is past."""

AGAIN_AFTER = 20
"""Looks between two lines while it lasts."""


class OverloadWords:
    """Looks now and then, and has something to say where something changed.

    `most` is how many notes may sound when all is well.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._thinned = 0
        self._limited = False
        self._looks = AGAIN_AFTER

    def look(self, thinned: int, limit: int) -> str | None:
        """Return a line to say, or None: so many were thinned, and so many may sound now."""
        self._looks += 1
        more = thinned - self._thinned
        if self._limited and limit == self._most:
            self._limited, self._looks, self._thinned = False, AGAIN_AFTER, thinned
            return (
                f"overload past: up to {self._most} notes sound again; {thinned} were faded "
                "out so far"
            )
        if more and self._looks >= AGAIN_AFTER:
            self._limited, self._looks, self._thinned = True, 0, thinned
            return (
                f"overload: blocks took too long, {more} notes were faded out (those let go first, "
                f"the quietest of them); at most {limit} of {self._most} sound for now"
            )
        return None
