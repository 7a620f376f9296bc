"""Overload: when blocks take too long, how many notes may still sound.

The measure is the share of its length that a block took, as three of the last twelve blocks took it
or more. So a stall of the machine, which is one long block or two, is no overload, and blocks that
are long in turn (those in which cells begin, where a block is shorter than a cell) are seen.

Above `THIN_ABOVE` the notes are limited to as many as would bring it to `THIN_TO`, as if each took
the same, and the engine fades the rest out, a few a block. Below `RISE_BELOW` the limit rises by a
sixteenth every quarter of a second, until it is out of the way. In between it stays.
"""

WINDOW, WITNESSES = 12, 3
THIN_ABOVE, THIN_TO, RISE_BELOW = 0.75, 0.6, 0.6
RISE_S = 0.25
FEWEST_LEFT = 4
"""Where so few notes sound it is not they that take the time."""
FEW = 4
"""So many notes go in a block, or a sixteenth of them, if that is more."""
SIXTEENTH = 16


class Overload:
    """Looks after one engine's limit; on the audio side, a few operations a block.

    `most` is the number of notes that may sound when all is well.
    """

    def __init__(self, rate: int, block: int, most: int) -> None:
        self.most = self.limit = most
        self._shares = [0.0] * WINDOW
        self._sorted = [0.0] * WINDOW
        self._next = 0
        self._rise_blocks = max(1, round(RISE_S * rate / block))
        self._calm_blocks = 0

    @property
    def share(self) -> float:
        """The measure: what three of the last twelve blocks took, or more, of their length."""
        return self._sorted[-WITNESSES]

    def block_took(self, share: float, sounding: int) -> None:
        """Take in what a block took of its length, while so many notes sounded."""
        self._shares[self._next] = share
        self._next = (self._next + 1) % WINDOW
        self._sorted[:] = self._shares
        self._sorted.sort()
        if self.share > THIN_ABOVE and sounding > FEWEST_LEFT:
            fit = max(int(sounding * THIN_TO / self.share), FEWEST_LEFT)
            self.limit = min(self.limit, fit)
            self._shares[:] = [0.0] * WINDOW  # what comes now is another matter
            self._calm_blocks = 0
        elif self.share >= RISE_BELOW:
            self._calm_blocks = 0
        elif self.limit < self.most:
            self._calm_blocks += 1
            if self._calm_blocks >= self._rise_blocks:
                self._calm_blocks = 0
                self.limit = min(self.limit + max(self.limit // SIXTEENTH, 1), self.most)

    def too_many(self, lasting: int) -> int:
        """Return how many of the notes that last shall be faded out now."""
        return min(max(lasting - self.limit, 0), max(FEW, lasting // SIXTEENTH))
